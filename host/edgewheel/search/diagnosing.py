"""Diagnose on a bench: plays the tries, keeps each in the record of the search."""

from __future__ import annotations

import json
from dataclasses import asdict
from fractions import Fraction
from random import Random

from edgewheel.bench.plan import Plan
from edgewheel.bench.rig import Rig
from edgewheel.bench.search_record import SearchRecord, Trial
from edgewheel.bench.truth import CYCLE_DEG
from edgewheel.search.look import Look, Stage, look
from edgewheel.search.trials import SearchStopped
from edgewheel.search.variant import Variant, varied


class Player:
    """Plays variants of a plan, each from a crank angle drawn by the plan's seed.

    With a record, every try is a row of it, and those that stand in it already are not played again
    as long as they are asked for in the same order.
    """

    def __init__(self, plan: Plan, record: SearchRecord | None = None) -> None:
        self._plan = plan
        self._record = record
        self._known = {trial.number: trial for trial in record.trials()} if record else {}
        self._rig = Rig()
        self._count = 0
        self._stopped = False

    def stop(self) -> None:
        """Park the outputs and start no other try; may be called from a signal handler."""
        self._stopped = True
        self._rig.abort()

    def __call__(self, variant: Variant, what: str) -> Look:
        """What the controller makes of a variant. Raises SearchStopped, BenchError, UsageError."""
        if self._stopped:
            raise SearchStopped
        known = self._known.get(self._count)
        if known is not None and known.setting == _setting(variant, what):
            self._count += 1
            return _look(known)
        draw = Random(f"{self._plan.seed} {self._count}")
        plan = varied(self._plan, variant, Fraction(draw.randrange(2 * CYCLE_DEG), 2))
        seen = look(self._rig, plan)
        if seen is None or self._stopped:
            raise SearchStopped
        if self._record is not None:
            self._record.add(self._row(variant, what, seen, plan))
        self._count += 1
        return seen

    def _row(self, variant: Variant, what: str, seen: Look, plan: Plan) -> Trial:
        detail = {
            "stage": seen.stage.name,
            "errors_deg": dict(seen.errors_deg),
            "speed_ratio": seen.speed_ratio,
            "both_turns": seen.both_turns,
        }
        return Trial(
            self._count,
            _setting(variant, what),
            plan.seed,
            seen.stage is Stage.RIGHT,
            json.dumps(detail),
            seen.reason,
            float(plan.signal.motion.end_s),
        )


def _setting(variant: Variant, what: str) -> str:
    """A try as its row names it."""
    usual = Variant()
    changed = {key: value for key, value in asdict(variant).items() if value != getattr(usual, key)}
    return json.dumps({"what": what, **changed}, default=_plain)


def _look(trial: Trial) -> Look:
    """What a try on record showed."""
    seen = json.loads(trial.detail)
    return Look(
        Stage[seen["stage"]],
        seen["speed_ratio"],
        seen["errors_deg"],
        seen["both_turns"],
        trial.reason,
    )


def _plain(value: object) -> object:
    return sorted(value) if isinstance(value, frozenset) else str(value)

"""Diagnose on a bench: plays the tries, keeps each in the record of the search, and the answer."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from fractions import Fraction
from pathlib import Path
from random import Random
from typing import Any

from edgewheel.bench.plan import Plan
from edgewheel.bench.rig import Rig
from edgewheel.bench.runner import meta_of
from edgewheel.bench.search_record import FINGERPRINT, SearchRecord, Trial, search_folder
from edgewheel.bench.truth import CYCLE_DEG
from edgewheel.search.diagnose import Diagnose, Diagnosis, Step
from edgewheel.search.diagnose_words import diagnosis_data
from edgewheel.search.look import Look, Stage, look
from edgewheel.search.trials import SearchStopped, fingerprint, of_another
from edgewheel.search.variant import Variant, varied


class Diagnosing:
    """A diagnosis with its record in a folder under `runs` or in `resume`: iterate over `items()`.

    Every try is at `rpm` but those about speed. Raises UsageError where `resume` holds no record,
    or that of another search.
    """

    def __init__(self, plan: Plan, rpm: int, runs: Path, resume: Path | None = None) -> None:
        self._plan = plan
        self._rpm = rpm
        self.folder = search_folder(runs, plan.name, resume)
        self._player: Player | None = None
        self._stopped = False
        self.name = plan.name
        self.steps: list[Step] = []
        self.summary: dict[str, Any] = {}
        """What a command adds to the summary."""

    def stop(self) -> None:
        """Park the outputs and start no other try; may be called from a signal handler."""
        self._stopped = True
        if self._player is not None:
            self._player.stop()

    def items(self) -> Iterator[Step]:
        """Each try when it is over, then there is a `diagnosis`. Raises SearchStopped, BenchError.

        The record is opened here: a database belongs to the thread that opens it.
        """
        plan = self._plan
        decides = fingerprint(plan.inputs, "diagnose", str(self._rpm))
        meta = {"kind": "diagnose", **meta_of(plan), FINGERPRINT: decides}
        with SearchRecord(self.folder) as record:
            record.begin(plan.inputs, meta)
            self._player = player = Player(plan, record)
            if self._stopped:
                raise SearchStopped
            diagnose = Diagnose(plan, player, self._rpm)
            for step in diagnose.steps():
                self.steps.append(step)
                yield step
            assert diagnose.diagnosis is not None
            self.diagnosis: Diagnosis = diagnose.diagnosis
            told = {"board": player.board, "diagnosis": self.data}
            record.finish({**meta, **told, **self.summary})

    @property
    def data(self) -> dict[str, Any]:
        """The end and the way there, for JSON."""
        return diagnosis_data(self.diagnosis, self.steps)


class Player:
    """Plays variants of a plan, each from a crank angle drawn by the plan's seed.

    With a record, every try is a row of it, and those that stand in it already are not played
    again.
    """

    def __init__(self, plan: Plan, record: SearchRecord | None = None) -> None:
        self._plan = plan
        self._record = record
        self._known = {trial.number: trial for trial in record.trials()} if record else {}
        self._rig = Rig()
        self._count = 0
        self._stopped = False

    @property
    def board(self) -> str:
        """The board that was played on."""
        return self._rig.board

    def stop(self) -> None:
        """Park the outputs and start no other try; may be called from a signal handler."""
        self._stopped = True
        self._rig.abort()

    def __call__(self, variant: Variant, what: str) -> Look:
        """What the controller makes of a variant. Raises SearchStopped, BenchError, UsageError."""
        if self._stopped:
            raise SearchStopped
        known = self._known.get(self._count)
        if known is not None:
            assert self._record is not None
            if known.setting != _setting(variant, what):
                raise of_another(self._count, self._record.folder)
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
            "silent": list(seen.silent),
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
        tuple(seen.get("silent", ())),
    )


def _plain(value: object) -> object:
    return sorted(value) if isinstance(value, frozenset) else str(value)

"""The trials of one search: played one by one, each committed before the next begins.

A search that was stopped or cut off is taken up where it was: its trials are asked for again in
the same order, and those that are on record are not played.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, Self

from edgewheel import __version__
from edgewheel.bench.plan import Plan
from edgewheel.bench.rig import Rig
from edgewheel.bench.runner import meta_of
from edgewheel.bench.search_record import FINGERPRINT, SearchRecord, Trial, search_folder
from edgewheel.errors import BenchError, UsageError
from edgewheel.search.trial import Planner, RunUp, judge


class SearchStopped(Exception):
    """Somebody stopped the search; what was committed can be taken up again."""


class Trials:
    """Plays trials of one bench file, with a record in a folder under `runs` or in `resume`.

    `asked` is everything else that decides the search, for its fingerprint.
    """

    def __init__(
        self,
        plan: Plan,
        file: Path,
        run_up: RunUp,
        asked: Mapping[str, str],
        runs: Path,
        resume: Path | None = None,
    ) -> None:
        self._planner = Planner(plan.document, file, run_up, plan.seed)
        self._run_up = run_up
        self._plan = plan
        self._meta = {
            **meta_of(plan),
            **asked,
            FINGERPRINT: fingerprint(plan.inputs, repr(run_up), json.dumps(dict(asked))),
        }
        self.folder = search_folder(runs, plan.name, resume)
        self._rig = Rig()
        self._stopped = False
        self.name = plan.name
        self.seed = plan.seed
        self._known: dict[int, Trial] = {}
        self.done: list[Trial] = []
        self.played = 0
        self.summary: dict[str, Any] = {}
        """What a command adds to the summary."""

    def __enter__(self) -> Self:
        self._record = SearchRecord(self.folder)
        self._record.begin(self._plan.inputs, self._meta)
        self._known = {trial.number: trial for trial in self._record.trials()}
        return self

    def __exit__(self, *_: object) -> None:
        with suppress(BenchError):
            self._record.close()

    def stop(self) -> None:
        """Park the outputs and start no other trial; may be called from a signal handler."""
        self._stopped = True
        self._rig.abort()

    def run(self, values: Mapping[str, str]) -> Trial:
        """The next trial, with these values set in the bench file; text as it would stand there.

        Raises SearchStopped, BenchError, FileError for values that cannot be, UsageError where
        another trial of this number is on record.
        """
        number = len(self.done)
        setting = json.dumps(dict(values), sort_keys=True)
        known = self._known.get(number)
        if known is not None and known.setting != setting:
            raise of_another(number, self.folder)
        if known is None:
            known = self._play(number, setting, values)
        self.done.append(known)
        return known

    def finish(self, summary: Mapping[str, Any]) -> None:
        """The search is over: write what it found."""
        told = {"board": self._rig.board, "run_up": self._run_up.as_data()}
        found = {**told, "trials": len(self.done), **summary}
        self._record.finish({**self._meta, **found, **self.summary})

    def _play(self, number: int, setting: str, values: Mapping[str, str]) -> Trial:
        if self._stopped:
            raise SearchStopped
        plan = self._planner.plan(values, number)
        judged = judge(self._rig, plan)
        if judged is None or self._stopped:
            raise SearchStopped
        seconds = float(plan.signal.motion.end_s)
        trial = Trial(number, setting, self._planner.seed_of(number), *judged, seconds)
        self._record.add(trial)
        self.played += 1
        return trial


def of_another(number: int, folder: Path) -> UsageError:
    """The refusal of a record whose trial of this number is another than the search asks for."""
    return UsageError(
        f"Trial {number + 1} in {folder} is another than this search asks for: another edgewheel "
        "made the record. Search anew, without --resume."
    )


def fingerprint(inputs: Iterable[tuple[str, str]], *asked: str) -> str:
    """A digest of everything that decides the trials of a search: its files and what is asked."""
    parts = [__version__, *(text for _, text in inputs), *asked]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()

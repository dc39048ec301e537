"""A search that is played in a thread of its own, and what it shows of itself."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from edgewheel.bench.record_folder import is_record
from edgewheel.bench.runlog import PROMPT, append, stamped
from edgewheel.clock import Clock, WallClock, time_left
from edgewheel.errors import BenchError, EdgewheelError
from edgewheel.search.trials import SearchStopped

STOPPED = "stopped; what was played is in the record"
GO_ON = "r goes on from there"


@dataclass(frozen=True)
class Stage:
    """How far a search is. `lines` are its results so far, `picture` what they look like."""

    share: float = 0.0
    doing: str = ""
    lines: tuple[str, ...] = ()
    picture: tuple[str, ...] = ()
    answer: str = ""


class Job(ABC):
    """A search. All but `stop` is called in its thread; `size` is the room for its picture."""

    name: str
    folder: Path
    command = ""
    """What is typed to repeat it."""

    size: tuple[int, int] = (60, 10)
    fills_in = False
    """Whether its lines are a table that fills in, not a list that grows."""

    plays_desk = True
    """Whether it plays the bench file on the desk, held faults included."""

    lost_bench = False
    """Whether it went on to its end without its bench, so that some of it was not played."""

    again: Callable[[Path], Job] | None = None
    """Makes the job that goes on with the record in a folder; None where it can only begin anew."""

    @abstractmethod
    def stages(self) -> Iterator[Stage]:
        """Play it. Raises SearchStopped, EdgewheelError."""

    @abstractmethod
    def stop(self) -> None:
        """Park and end; from any thread."""


class Running:
    """A job under way: `play` is its thread's work, all else is for those who look.

    `wait` returns when the job can have the bench; `done_share` of it is on record already.
    """

    def __init__(
        self,
        job: Job,
        wait: Callable[[], None] | None = None,
        done_share: float = 0.0,
        clock: Clock | None = None,
    ) -> None:
        self.job = job
        self._wait = wait
        self._done_share = done_share
        self._clock = clock or WallClock()
        self._begun_ns = self._clock.now_ns()
        self.stage = Stage(doing="waiting for the board to park" if wait else "")
        self.over = False
        self._is_kept = False
        self.can_go_on = False
        """Whether it was cut off, and can be taken up where it was."""

    def play(self) -> None:
        """Play the job to its end; what goes wrong is its answer."""
        try:
            if self._wait is not None:
                self._wait()
                self.stage = Stage()
            for stage in self.job.stages():
                self._keep_command()
                self.stage = stage
            if self.job.lost_bench:
                self._cut_off(self.stage.answer)
        except SearchStopped:
            self._cut_off(STOPPED)
        except BenchError as error:
            self._cut_off(str(error))
        except EdgewheelError as error:
            self._end(str(error))
        finally:
            self.over = True

    def stop(self) -> None:
        """Park and end."""
        self.job.stop()

    def _keep_command(self) -> None:
        """Once, as soon as there is a record."""
        if not self._is_kept and is_record(self.job.folder):
            self._is_kept = True
            append(self.job.folder, stamped(f"{PROMPT}{self.job.command}"))

    @property
    def left(self) -> str:
        """How long it will still take, in words; empty while nobody knows."""
        if self.over:
            return ""
        elapsed_s = (self._clock.now_ns() - self._begun_ns) / 1e9
        return time_left(elapsed_s, self.stage.share, self._done_share)

    def rest(self) -> Job:
        """The job that goes on, where it `can_go_on`."""
        assert self.job.again is not None
        return self.job.again(self.job.folder)

    def _cut_off(self, words: str) -> None:
        self.can_go_on = self.job.again is not None and is_record(self.job.folder)
        self._end(f"{words} · {GO_ON}" if self.can_go_on else words)

    def _end(self, words: str) -> None:
        last = self.stage
        self.stage = Stage(last.share, "", last.lines, last.picture, words)

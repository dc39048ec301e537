"""From the edges of an output line to its events: a dwell and its spark, an opening and its end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edgewheel.bench.signals import OutputLine

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

CHOPPED_S = 100e-6
"""A shorter pause within a pulse is the chopping of a current limit, part of the same pulse."""

RESTRIKE_S = 2e-3
"""A coil that charges again so soon after its spark strikes again for the same combustion."""


@dataclass(frozen=True, eq=False)
class LineEvents:
    """The events of one line, arrays (n,), ascending.

    `begin_s` and `end_s` bound the work of each: dwell or opening, its pauses included. `chops` and
    `restrikes` count what was taken together into the event. A pulse that is still going on at the
    end of the capture, or was before its beginning, is none.
    """

    begin_s: Floats
    end_s: Floats
    chops: Ints
    restrikes: Ints

    def __len__(self) -> int:
        return len(self.end_s)

    @property
    def lasts_s(self) -> Floats:
        """Dwell or width of each (n,)."""
        return self.end_s - self.begin_s

    def only(self, wanted: npt.NDArray[np.bool_]) -> LineEvents:
        """Those where `wanted` (n,) is true."""
        return LineEvents(
            self.begin_s[wanted], self.end_s[wanted], self.chops[wanted], self.restrikes[wanted]
        )


def line_events(line: OutputLine, seconds: Floats, levels: Ints) -> LineEvents:
    """The events among a line's edges, `seconds` (k,) ascending and the `levels` (k,) they go to.

    An ignition event ends with its first spark; a re-strike is counted, not timed.
    """
    begin, end = _spans(seconds, levels == line.active_level)
    begin, end, chops = _joined(begin, end, CHOPPED_S)
    if line.kind != "ignition":
        return LineEvents(begin, end, chops, np.zeros(len(begin), np.int64))
    first = np.concatenate([[True], begin[1:] - end[:-1] > RESTRIKE_S])[: len(begin)]
    group = np.cumsum(first) - 1
    sizes = np.bincount(group) if len(group) else np.zeros(0, np.int64)
    return LineEvents(begin[first], end[first], chops[first], sizes - 1)


def _spans(seconds: Floats, active: npt.NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Where the active level begins and ends, whole spans only."""
    if not len(active):
        return seconds, seconds
    changes = np.concatenate([[True], active[1:] != active[:-1]])
    seconds, active = seconds[changes], active[changes]
    whole = seconds[int(not active[0]) : len(active) - int(active[-1])]
    return whole[0::2], whole[1::2]


def _joined(begin: Floats, end: Floats, pause_s: float) -> tuple[Floats, Floats, Ints]:
    """Spans with a pause of no more than `pause_s` between them as one."""
    if len(begin) < 2:
        return begin, end, np.zeros(len(begin), np.int64)
    apart = begin[1:] - end[:-1] > pause_s
    first = np.concatenate([[True], apart])
    last = np.concatenate([apart, [True]])
    sizes = np.bincount(np.cumsum(first) - 1)
    return begin[first], end[last], sizes - 1


def polarity_is_turned(rpm: Floats, active_s: Floats, idle_s: Floats) -> bool | None:
    """Whether the level declared as working is the resting one; None if it cannot be told.

    `rpm`, `active_s`, `idle_s` (n,): speed and the time at either level, one an event. A dwell
    keeps its time while the pause shrinks with the speed, so of two speeds the level whose time
    changes less (in the logarithm) is the working one. At one speed the two look alike.
    """
    if len(rpm) < 4 or rpm.min() <= 0 or rpm.max() < 1.4 * rpm.min():
        return None
    slow, fast = rpm <= np.quantile(rpm, 0.25), rpm >= np.quantile(rpm, 0.75)

    def change(times: Floats) -> float:
        return abs(float(np.log(np.median(times[fast]) / np.median(times[slow]))))

    active, idle = change(active_s), change(idle_s)
    if abs(active - idle) < 0.2:
        return None
    return active > idle

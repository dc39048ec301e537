"""Each event of an output line against the top dead centre that it belongs to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edgewheel.bench.signals import OutputLine
from edgewheel.bench.timing.crank import CrankAt, crank_at
from edgewheel.bench.timing.pulses import LineEvents, line_events
from edgewheel.motion.motion import Motion
from edgewheel.wheel.model import Wheel

CYCLE_DEG = 720.0
TURN_DEG = 360.0
SHARE_OF_BOTH = 0.3
"""Fewer events in the other turn are those before the phase was known."""

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Commanded:
    """The advance that the controller meant to give, and how it is known.

    `seconds` and `degrees` (k,) are reports of it; without reports `fixed_deg` holds at all times,
    None if nobody says. `source` says it in words.
    """

    seconds: Floats
    degrees: Floats
    fixed_deg: float | None
    source: str

    def at(self, seconds: Floats) -> Floats:
        """Degrees in force at each moment (n,), NaN where nobody knows."""
        if len(self.seconds):
            index = np.searchsorted(self.seconds, seconds, side="right") - 1
            return np.asarray(np.where(index >= 0, self.degrees[np.maximum(index, 0)], np.nan))
        fixed = np.nan if self.fixed_deg is None else self.fixed_deg
        return np.full(len(seconds), fixed)


@dataclass(frozen=True, eq=False)
class Measured:
    """The events of one line, arrays (n,), in the order of time.

    `before_deg` is each event's angle before the TDC it belongs to, `error_deg` that minus the
    angle commanded (NaN where nobody knows it). `slot` numbers the TDCs of the line: a number left
    out is an event missed, one twice is an event doubled.
    """

    name: str
    line: OutputLine
    events: LineEvents
    crank: CrankAt
    before_deg: Floats
    error_deg: Floats
    slot: Ints
    both_turns: bool = False

    def __len__(self) -> int:
        return len(self.events)


def measure(
    name: str,
    line: OutputLine,
    edges: tuple[Floats, Ints],
    motion: Motion,
    wheel: Wheel,
    commanded: Commanded,
) -> Measured:
    """The events of a line; `edges` are (seconds, level) of each, (k,) both.

    An event belongs to the TDC, of those of the line's cylinders, at which the error is least; so
    one of n TDCs a cycle at even distances shows errors of up to 360 / n degrees.
    """
    events = line_events(line, *edges)
    crank = crank_at(motion, events.end_s)
    known = _known(line, commanded, events.end_s)
    wanted = np.nan_to_num(known)
    centres, both = _centres(line, wheel, crank.deg + wanted)
    if not len(events) or not len(centres):
        nothing = np.full(len(events), np.nan)
        return Measured(name, line, events, crank, nothing, nothing, np.arange(len(events)))
    error = _nearest_error(crank.deg + wanted, centres)
    slot = _slots(crank.deg + wanted + error, np.sort(centres))
    error_known = np.where(np.isnan(known), np.nan, error)
    return Measured(name, line, events, crank, wanted + error, error_known, slot, both)


def _centres(line: OutputLine, wheel: Wheel, deg: Floats) -> tuple[Floats, bool]:
    """The TDCs of a line's cylinders within a cycle, and whether one cylinder is served in both
    turns though a signal tells them apart.

    Where none does, a single cylinder may be served in one of them, and in either.
    """
    places = {float(deg) for number in line.cylinders for deg in wheel.dead_centres(number)}
    centres = np.array(sorted(places)) % CYCLE_DEG
    if not len(deg) or not len(centres) or len(line.cylinders) > 1 or wheel.period == TURN_DEG:
        return centres, False
    error = _nearest_error(deg, centres[:1])
    if _in_both_turns(error):
        return np.unique([centres[0], (centres[0] + TURN_DEG) % CYCLE_DEG]), len(centres) == 1
    return centres[:1] if abs(np.median(error)) <= TURN_DEG / 2 else centres[-1:], False


def _in_both_turns(error: Floats) -> bool:
    """Whether a fair share of the events stands a turn from the others."""
    apart = np.abs(fold(error - error[0], CYCLE_DEG)) > TURN_DEG / 2
    return bool(min(apart.mean(), 1 - apart.mean()) >= SHARE_OF_BOTH)


def _known(line: OutputLine, commanded: Commanded, seconds: Floats) -> Floats:
    if line.kind == "ignition":
        return commanded.at(seconds)
    end = np.nan if line.end_deg is None else line.end_deg
    return np.full(len(seconds), end)


def _nearest_error(deg: Floats, centres: Floats) -> Floats:
    """Degrees from each angle (n,) on to the nearest centre (m,), kept together across a half turn.

    Events that scatter about the farthest point from a centre would else jump from one end of the
    range to the other: all are brought to the side of most of them.
    """
    all_errors = fold(centres[None, :] - deg[:, None], CYCLE_DEG)
    error = np.take_along_axis(all_errors, np.abs(all_errors).argmin(axis=1)[:, None], 1)[:, 0]
    if len(centres) > 1:
        return error
    typical = error[0] + np.median(fold(error - error[0], CYCLE_DEG))
    return np.asarray(fold(typical, CYCLE_DEG) + fold(error - typical, CYCLE_DEG))


def _slots(centre_deg: Floats, centres: Floats) -> Ints:
    """The number of each centre (n,), counted through all cycles."""
    cycle_of = np.rint((centre_deg[:, None] - centres[None, :]) / CYCLE_DEG)
    away = np.abs(centre_deg[:, None] - centres[None, :] - cycle_of * CYCLE_DEG)
    which = away.argmin(axis=1)
    cycle = np.take_along_axis(cycle_of, which[:, None], 1)[:, 0]
    return np.asarray(cycle * len(centres) + which, np.int64)


def fold(degrees: Floats, period: float) -> Floats:
    """Angles brought into [-period / 2, period / 2)."""
    return np.asarray((degrees + period / 2) % period - period / 2)

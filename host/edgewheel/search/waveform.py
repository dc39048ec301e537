"""The signal around a loss: what the pins saw, what a sound wheel gives, and what was misread.

With the simulated controller its own input is asked which edges it counted, and every count is held
against the sound signal. Of a real one nobody knows that: the edges marked are then those that the
faults have changed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from math import ceil, floor
from typing import Any

import numpy as np

from edgewheel.bench.events import SyncLost
from edgewheel.bench.plan import Plan, SimulatedController
from edgewheel.bench.rig import Rig
from edgewheel.bench.truth import Truth
from edgewheel.controller.sim.capture import CRANK, LOST, InputCapture
from edgewheel.controller.sim.settings import ControllerSettings, InterruptSettings
from edgewheel.edges.near import nearest
from edgewheel.edges.table import EdgeChunk, EdgeHeader, Ticks, join
from edgewheel.fault.diff import flips_between
from edgewheel.fault.model import US_PER_S
from edgewheel.fault.pipeline import Pipeline
from edgewheel.fault.signal import SignalPlan, sound_signal

BEFORE_TURNS, AFTER_TURNS = 1.15, 0.15
"""Turns of the crank shown before the loss and after it."""

LOOK_BACK_S = 0.25
"""A loss is reported so much later at most; the input's memory is far shorter."""

NEAR = 0.25
"""A count belongs to an edge that is nearer than this share of the time between edges."""

LATE = 0.04
"""A count that is off by a larger share than this is told."""

MOST_EDGES = 4000
"""Of all tracks, in the picture."""

EXTRA = "was counted as a tooth where the sound wheel has none"
MISSED = "of the sound wheel was not counted"
OVERRUN = "was lost: the controller was still busy with those before"
ADDED = "is not in the sound signal"
GONE = "is missing from the signal"
"""Each said of an edge: "an edge of the sound wheel was not counted"."""


@dataclass(frozen=True)
class Mark:
    """An edge that was misread, at `seconds` on a track, and why it is marked."""

    track: str
    seconds: float
    why: str


@dataclass(frozen=True)
class Counts:
    """The ticks (n,) at which an input counted a crank edge, and those it lost in its queue."""

    counted: Ticks
    lost: Ticks


@dataclass(frozen=True)
class _Signal:
    """The edges of a stretch of a table, and each track's level before them."""

    header: EdgeHeader
    levels: tuple[int, ...]
    edges: EdgeChunk

    def ticks(self, track: int) -> Ticks:
        own: Ticks = self.edges.ticks[self.edges.track == track]
        return own


def waveform_around(plan: Plan, seconds: float, reason: str = "") -> dict[str, Any]:
    """Evidence of the kind "waveform" around a moment of a run, for JSON.

    Times are seconds after table tick 0. Beside `tracks` and `sound` (name, initial level, edges)
    it holds `counted`, the moments at which the simulated controller counted a crank edge, and
    `marked`, the misread edges from `LOOK_BACK_S` before the loss on that lie in the picture.
    """
    tick_hz = plan.board.tick_hz
    begin_s = max(seconds - LOOK_BACK_S - _turns_s(plan, seconds, BEFORE_TURNS), 0.0)
    end_s = seconds + _turns_s(plan, seconds, AFTER_TURNS)
    stretch = floor(begin_s * tick_hz), ceil(end_s * tick_hz)
    played = _signal(plan.signal, tick_hz, *stretch)
    whole = plan.signal.capture is None
    sound = _signal(sound_signal(plan.signal), tick_hz, *stretch) if whole else None
    counts = _counts(plan, played, tick_hz)
    # What comes before is there so that the input's memory is filled, and may be misjudged.
    since_s = seconds - LOOK_BACK_S if begin_s else 0.0
    marks = _marks(plan, played, sound, counts, tick_hz)
    marks = [mark for mark in marks if mark.seconds >= since_s]
    begin_s, end_s = _window(plan, seconds, marks)
    shown = [mark for mark in marks if begin_s <= mark.seconds <= end_s]
    return {
        "kind": "waveform",
        "unit": "s",
        "tracks": _tracks(played, tick_hz, begin_s, end_s),
        "sound": _tracks(sound, tick_hz, begin_s, end_s) if sound else [],
        "counted": _between(counts.counted / tick_hz, begin_s, end_s) if counts else None,
        "marked": [asdict(mark) for mark in shown],
        "begin": begin_s,
        "end": end_s,
        "loss": seconds,
        "rpm": abs(Truth(plan.signal.motion).rpm(seconds)),
        "reason": reason,
    }


def waveform_of_loss(plan: Plan) -> dict[str, Any] | None:
    """Play a plan on the simulated bench, and show the signal around its first loss; None if there
    is none, or if it would take a real bench. Raises UsageError.
    """
    if plan.board.kind != "sim" or not isinstance(plan.controller, SimulatedController):
        return None
    rig, lost = Rig(), None
    for event in rig.run(plan):
        if isinstance(event, SyncLost) and lost is None:
            lost = event
            rig.abort()
    return None if lost is None else waveform_around(plan, lost.seconds, lost.reason)


def _turns_s(plan: Plan, seconds: float, turns: float) -> float:
    """How long so many turns take there; at a standstill a tenth of a second."""
    rpm = abs(Truth(plan.signal.motion).rpm(seconds))
    return min(turns * 60 / rpm, 10.0) if rpm > 1 else 0.1 * turns


def _window(plan: Plan, seconds: float, marks: list[Mark]) -> tuple[float, float]:
    """What is shown: around the loss, or further back where the last misread edge before it is."""
    before_s = _turns_s(plan, seconds, BEFORE_TURNS)
    after_s = _turns_s(plan, seconds, AFTER_TURNS)
    earlier = [mark.seconds for mark in marks if mark.seconds <= seconds]
    middle_s = seconds
    if earlier and earlier[-1] < seconds - before_s:
        middle_s = earlier[-1]
    return max(middle_s - before_s, 0.0), middle_s + after_s


def _signal(plan: SignalPlan, tick_hz: int, begin: int, end: int) -> _Signal:
    """The edges in [begin, end]; the table is read from its beginning, chunk by chunk."""
    pipeline = Pipeline(plan, tick_hz)
    header = pipeline.header
    levels = list(header.initial)
    kept = []
    for chunk in _until(pipeline.edges(), end):
        first, last = np.searchsorted(chunk.ticks, [begin, end + 1])
        for track in range(len(levels)):
            before = chunk.level[:first][chunk.track[:first] == track]
            levels[track] = int(before[-1]) if len(before) else levels[track]
        kept.append(chunk[int(first) : int(last)])
    return _Signal(header, tuple(levels), join(*kept))


def _until(chunks: Iterator[EdgeChunk], end: int) -> Iterator[EdgeChunk]:
    for chunk in chunks:
        yield chunk
        if len(chunk) and chunk.ticks[-1] > end:
            return


def _counts(plan: Plan, signal: _Signal, tick_hz: int) -> Counts | None:
    """What the simulated controller counted; None of a real one, of which nobody knows."""
    if not isinstance(plan.controller, SimulatedController):
        return None
    return counts_of(plan.controller.settings, signal, tick_hz)


def counts_of(settings: ControllerSettings, signal: _Signal, tick_hz: int) -> Counts:
    """What the input of a controller that is set so makes of a signal."""
    mask = sum(level << track for track, level in enumerate(signal.levels))
    capture = InputCapture(settings, tick_hz, signal.header.tracks, mask)
    ticks, masks = _masks(signal.edges, mask)
    if not len(ticks):
        return Counts(ticks, ticks)
    end = int(ticks[-1]) + tick_hz
    rows = np.array(list(capture.push(ticks, masks, end)), np.int64).reshape(-1, 4)
    return Counts(rows[rows[:, 2] == CRANK, 0], rows[rows[:, 2] == LOST, 0])


def _masks(edges: EdgeChunk, mask: int) -> tuple[Ticks, np.ndarray[Any, np.dtype[np.uint8]]]:
    """The levels of all lines after each tick at which any of them changes."""
    masks: dict[int, int] = {}
    rows = zip(edges.ticks.tolist(), edges.track.tolist(), edges.level.tolist(), strict=True)
    for tick, track, level in rows:
        mask = mask & ~(1 << track) | level << track
        masks[tick] = mask
    return np.array(list(masks), np.int64), np.array(list(masks.values()), np.uint8)


def _marks(
    plan: Plan, played: _Signal, sound: _Signal | None, counts: Counts | None, tick_hz: int
) -> list[Mark]:
    """The misread edges in the order of time."""
    if sound is None:
        return []
    if counts is not None and isinstance(plan.controller, SimulatedController):
        settings = plan.controller.settings
        wanted = counts_of(_perfect(settings), sound, tick_hz).counted
        marks = misread(settings.crank.line, wanted, counts, tick_hz)
    else:
        marks = _changed(plan, played, sound)
    return sorted(marks, key=lambda mark: mark.seconds)


def _perfect(settings: ControllerSettings) -> ControllerSettings:
    """The same input without anything that could hide, move or lose an edge."""
    crank = replace(settings.crank, rc=None, filter_us=0.0, blanking_us=0.0, blanking_percent=0.0)
    return replace(settings, crank=crank, interrupts=InterruptSettings(0.0, 0.0))


def misread(track: str, wanted: Ticks, counts: Counts, tick_hz: int) -> list[Mark]:
    """Where counts differ from the wanted edges: one more, one less, or one that comes off its
    place by more than `LATE` of the time between edges (the input's constant delay taken out).
    """
    counted = counts.counted
    if len(wanted) < 2:
        return [Mark(track, tick / tick_hz, EXTRA) for tick in counted.tolist()]
    pitch = float(np.median(np.diff(wanted)))
    at = nearest(wanted, counted)
    raw = counted - wanted[at]
    near = np.abs(raw) < NEAR * pitch
    off = raw - (float(np.median(raw[near])) if near.any() else 0.0)
    taken = np.zeros(len(wanted), bool)
    marks = []
    for index in np.argsort(np.abs(off), kind="stable").tolist():
        edge, seconds = int(at[index]), float(counted[index]) / tick_hz
        if abs(off[index]) >= NEAR * pitch or taken[edge]:
            marks.append(Mark(track, seconds, EXTRA))
            continue
        taken[edge] = True
        if abs(off[index]) > LATE * pitch:
            way = "late" if off[index] > 0 else "early"
            share = abs(off[index]) / pitch
            marks.append(Mark(track, seconds, f"was counted {share:.0%} of a tooth period {way}"))
    lost = counts.lost
    for tick in wanted[~taken].tolist():
        busy = len(lost) and float(np.min(np.abs(lost - tick))) < NEAR * pitch
        marks.append(Mark(track, tick / tick_hz, OVERRUN if busy else MISSED))
    return marks


def _changed(plan: Plan, played: _Signal, sound: _Signal) -> list[Mark]:
    """The edges that faults have added or taken away."""
    tick_hz = played.header.tick_hz
    end_us = plan.signal.motion.end_s * US_PER_S
    marks = []
    for flip in flips_between(
        replace(sound.header, initial=sound.levels),
        [sound.edges],
        replace(played.header, initial=played.levels),
        [played.edges],
        end_us,
    ):
        number = played.header.tracks.index(flip.track)
        own = set(played.ticks(number).tolist())
        for tick in flip.ticks(tick_hz):
            marks.append(Mark(flip.track, tick / tick_hz, ADDED if tick in own else GONE))
    return marks


def _tracks(signal: _Signal, tick_hz: int, begin_s: float, end_s: float) -> list[dict[str, Any]]:
    """Each track's level at the begin and its edges, at most `MOST_EDGES` in all."""
    tracks: list[dict[str, Any]] = []
    most = MOST_EDGES // max(len(signal.header.tracks), 1)
    for number, name in enumerate(signal.header.tracks):
        seconds = signal.ticks(number) / tick_hz
        before = int(np.searchsorted(seconds, begin_s))
        edges = _between(seconds, begin_s, end_s)
        initial = signal.levels[number] ^ (before & 1)
        tracks.append({"name": name, "initial": initial, "edges": edges[:most]})
    return tracks


def _between(
    seconds: np.ndarray[Any, np.dtype[np.float64]], begin_s: float, end_s: float
) -> list[float]:
    first, last = np.searchsorted(seconds, [begin_s, end_s])
    return [round(value, 9) for value in seconds[int(first) : int(last)].tolist()]

"""A capture as streams: the times at which one track goes to one level."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from edgewheel.edges.captures.capture import Capture

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

MOST_EDGES = 400_000
"""Edges of the capture that are looked at; a wheel has told all it can long before."""

FIXED = 0.04
"""Pulses that differ by less than this share last a fixed time."""

SPAN = 24
"""Teeth over which the speed is taken to see whether pulses follow it."""

STOP_RATIO = 14
"""A pause this many times the usual one is a standstill: no gap in a row of teeth is as long."""


@dataclass(frozen=True, eq=False)
class Stream:
    """The edges of one track to one level: `times` (n,) seconds, ascending."""

    track: str
    level: int
    times: Floats


@dataclass(frozen=True)
class Pulsed:
    """A track whose sensor answers each tooth with a pulse of fixed time, at `level`."""

    level: int
    seconds: float


@dataclass(frozen=True, eq=False)
class Streams:
    """The streams of the longest stretch in which the engine kept turning.

    `pulsed` are the tracks whose pulses last a fixed time; the ends of those are in no stream.
    `cut` says that the capture holds more than was looked at.
    """

    tracks: tuple[str, ...]
    streams: tuple[Stream, ...]
    begin_s: float
    end_s: float
    cut: bool
    pulsed: dict[str, Pulsed] = field(default_factory=dict)

    def of(self, track: str, level: int) -> Stream | None:
        """The stream of a track and level, None where its times are not real."""
        for stream in self.streams:
            if (stream.track, stream.level) == (track, level):
                return stream
        return None


def streams_of(capture: Capture) -> Streams:
    """Every stream of the capture whose times are real, over its longest stretch of turning."""
    edges = capture.edges[:MOST_EDGES]
    seconds = edges.ticks / capture.header.tick_hz
    all_streams = []
    for number, track in enumerate(capture.header.tracks):
        for level in (1, 0):
            if track in capture.widthless and level != capture.real_level:
                continue
            times = seconds[(edges.track == number) & (edges.level == level)]
            if len(times):
                all_streams.append(Stream(track, level, times))
    pulsed = _pulsed(all_streams)
    all_streams = [
        stream
        for stream in all_streams
        if stream.track not in pulsed or stream.level == pulsed[stream.track].level
    ]
    busiest = max(all_streams, key=lambda stream: len(stream.times))
    begin_s, end_s = _longest_turning(busiest.times)
    kept = []
    for stream in all_streams:
        inside = (stream.times >= begin_s) & (stream.times <= end_s)
        if inside.any():
            kept.append(Stream(stream.track, stream.level, stream.times[inside]))
    cut = len(edges) < len(capture.edges) or len(busiest.times) > sum(
        len(stream.times) for stream in kept if stream.track == busiest.track
    )
    tracks = tuple(t for t in capture.header.tracks if any(s.track == t for s in kept))
    return Streams(tracks, tuple(kept), begin_s, end_s, cut, pulsed)


def _pulsed(streams: list[Stream]) -> dict[str, Pulsed]:
    """Tracks whose pulses keep their time while the teeth come faster or slower.

    At one steady speed they cannot be told from teeth, and are taken for teeth.
    """
    found = {}
    for stream in streams:
        other = next((s for s in streams if s.track == stream.track and s is not stream), None)
        if other is None or len(stream.times) < 2 * SPAN or len(other.times) < 8:
            continue
        after = np.searchsorted(other.times, stream.times)
        whole = after < len(other.times)
        lasting = other.times[after[whole]] - stream.times[whole]
        coming = (stream.times[SPAN:] - stream.times[:-SPAN]) / SPAN
        usual = running_median(np.diff(stream.times), SPAN + 1)  # Gaps make no other speed.
        if _swing(lasting) < FIXED < min(_swing(coming), _swing(usual)) / 4:
            found[stream.track] = Pulsed(stream.level, float(np.median(lasting)))
    return found


def _swing(times: Floats) -> float:
    """How much times differ, as the share by which the middle four fifths of them do."""
    low, high = np.quantile(times, (0.1, 0.9))
    return float((high - low) / np.median(times))


def _longest_turning(times: Floats) -> tuple[float, float]:
    """Begin and end of the stretch with the most edges between two standstills."""
    if len(times) < 3:
        return float(times[0]), float(times[-1])
    pauses = np.diff(times)
    usual = running_median(pauses, 25)
    stops = np.flatnonzero(pauses > STOP_RATIO * usual)
    bounds = np.concatenate([[-1], stops, [len(times) - 1]])
    longest = int(np.argmax(np.diff(bounds)))
    return float(times[bounds[longest] + 1]), float(times[bounds[longest + 1]])


def median(values: Floats) -> float:
    """The median of values (n,), n > 0 and no NaN, for arrays so short that numpy's own takes most
    of its time to look at its arguments.
    """
    ordered = np.sort(values)
    middle = len(ordered) // 2
    if len(ordered) % 2:
        return float(ordered[middle])
    return float(ordered[middle - 1] + ordered[middle]) / 2


def running_median(values: Floats, width: int) -> Floats:
    """The median of `width` (odd) values round each of (n,); at the ends of those there are."""
    width = min(width, len(values) - 1 + len(values) % 2)
    if width < 3:
        return values.copy()
    windows = np.lib.stride_tricks.sliding_window_view(values, width)
    half = width // 2
    middle = np.partition(windows, half, axis=1)[:, half]
    return np.concatenate([np.full(half, middle[0]), middle, np.full(half, middle[-1])])

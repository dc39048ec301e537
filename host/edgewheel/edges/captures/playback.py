"""A capture played edge for edge, at its own or a scaled speed, in place of a computed table."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from edgewheel.edges.captures.capture import Capture
from edgewheel.edges.table import EdgeChunk, EdgeHeader, Ticks
from edgewheel.errors import UsageError

CHUNK_EDGES = 1 << 14
FINEST_SPEED = 10_000
"""Numerator and denominator of a scaled speed stay below this, so that ticks stay whole numbers."""


@dataclass(frozen=True, eq=False)
class Playback:
    """What is played: `tracks` gives, in the order of the outputs, which of the capture's tracks,
    None for one that is held at its level in `held`. `names` are the outputs' own, if others.
    `speed` is how many times as fast. `passage` (n,) is which tooth made each edge of the capture,
    for the faults that ask.
    """

    capture: Capture
    tracks: tuple[str | None, ...]
    speed: Fraction = Fraction(1)
    passage: Ticks | None = None
    names: tuple[str, ...] = ()
    held: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        if self.speed <= 0 or max(self.speed.numerator, self.speed.denominator) > FINEST_SPEED:
            raise UsageError(
                f"A capture cannot be played {float(self.speed):g} times as fast. Give a speed "
                f"above 0 with at most {len(str(FINEST_SPEED)) - 1} digits, such as 1.5."
            )

    @property
    def seconds(self) -> Fraction:
        """How long it takes."""
        return Fraction(self.capture.end_tick, self.capture.header.tick_hz) / self.speed


class PlaybackTable:
    """A playback as an edge table on a clock: each edge's tick is its time, rounded once."""

    def __init__(self, playback: Playback, tick_hz: int) -> None:
        self._playback = playback
        self._tick_hz = tick_hz

    def header(self) -> EdgeHeader:
        """The header: levels as they stand before the first edge."""
        played, header = self._playback, self._playback.capture.header
        initial = dict(zip(header.tracks, header.initial, strict=True))
        names = played.names or tuple(track for track in played.tracks if track is not None)
        held = played.held or (0,) * len(names)
        levels = (initial.get(t, h) if t else h for t, h in zip(played.tracks, held, strict=True))
        return EdgeHeader(self._tick_hz, names, tuple(levels))

    def chunks(self) -> Iterator[EdgeChunk]:
        """The edges of the tracks that are played."""
        capture, wanted = self._playback.capture, self._playback.tracks
        names = capture.header.tracks
        output = np.array(
            [wanted.index(n) if n in wanted else len(wanted) for n in names], np.uint8
        )
        for begin in range(0, len(capture.edges), CHUNK_EDGES):
            part = capture.edges[begin : begin + CHUNK_EDGES]
            track = output[part.track]
            played = track < len(wanted)
            ticks = self._scaled(part.ticks[played])
            passage = self._playback.passage
            if passage is not None:
                passage = passage[begin : begin + CHUNK_EDGES][played]
            yield EdgeChunk(ticks, track[played], part.level[played], passage)

    def _scaled(self, ticks: Ticks) -> Ticks:
        """Ticks (n,) of the capture in ticks of this clock, in whole numbers throughout."""
        scale = (
            Fraction(self._tick_hz, self._playback.capture.header.tick_hz) / self._playback.speed
        )
        whole, rest = np.divmod(ticks, scale.denominator)
        part = (rest * scale.numerator + scale.denominator // 2) // scale.denominator
        return np.asarray(whole * scale.numerator + part)

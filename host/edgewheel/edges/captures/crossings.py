"""From samples to edges, block by block: a level with hysteresis, or VR zero crossings."""

from __future__ import annotations

from typing import Protocol

import numpy as np
import numpy.typing as npt

from edgewheel.edges.table import Bytes

Floats = npt.NDArray[np.float64]

VR_SHARE = 0.35
"""Share of the last half-waves' height at which a VR signal arms, when teeth keep their pace."""

VR_FLOOR = 0.015
"""The same as a share of the highest half-wave of the file, so that standstill stays quiet."""


class Detector(Protocol):
    """Finds edges in samples that come in blocks."""

    def feed(self, values: Floats) -> tuple[Floats, Bytes]:
        """Where edges (k,) are, in samples and fractions from the first of all, and their level."""


class LevelDetector:
    """High once the signal exceeds `high`, low once it falls below `low`.

    An edge is where the straight line between two samples crosses the threshold. With `exact` the
    samples are changes themselves, and an edge is where the first one of the new level is.
    """

    def __init__(self, low: float, high: float, *, exact: bool = False) -> None:
        self._low = low
        self._high = high
        self._exact = exact
        self._state = -1
        self._last = np.nan
        self._count = 0

    def feed(self, values: Floats) -> tuple[Floats, Bytes]:
        known = np.where(values > self._high, 1, np.where(values < self._low, 0, -1)).astype(
            np.int8
        )
        latest = np.maximum.accumulate(np.where(known >= 0, np.arange(len(values)), -1))
        state = np.where(latest >= 0, known[latest], self._state)
        before = np.concatenate([[self._state], state[:-1]])
        changed = np.flatnonzero((state != before) & (before >= 0))
        levels = state[changed].astype(np.uint8)
        places = (changed + self._count).astype(np.float64)
        if not self._exact and len(changed):
            after = values[changed]
            prior = np.where(changed > 0, values[changed - 1], self._last)
            threshold = np.where(levels == 1, self._high, self._low)
            places -= 1 - np.clip((threshold - prior) / (after - prior), 0.0, 1.0)
        self._state, self._last = int(state[-1]), float(values[-1])
        self._count += len(values)
        return places, levels


class VrDetector:
    """The zero crossing behind each half-wave that is high enough to arm it.

    A half-wave arms if it exceeds `floor` and `VR_SHARE` of the last ones' height; the height that
    is wanted falls as the time since the last crossing grows, since amplitude is proportional to
    speed. Behind a positive half-wave the level falls, behind a negative one it rises.
    """

    def __init__(self, zero: float, floor: float) -> None:
        self._zero = zero
        self._floor = floor
        self._held = np.empty(0)
        self._held_from = 0
        self._height = 0.0
        self._pace = np.inf
        self._last_place = -np.inf
        self._level = -1

    def feed(self, values: Floats) -> tuple[Floats, Bytes]:
        wave = np.concatenate([self._held, values - self._zero])
        sign = wave > 0
        ends = np.flatnonzero(sign[1:] != sign[:-1])
        if not len(ends):
            self._held = wave
            return np.empty(0), np.empty(0, np.uint8)
        begins = np.concatenate([[0], ends[:-1] + 1])
        heights = np.maximum.reduceat(np.abs(wave[: ends[-1] + 1]), begins)
        crossing = ends + wave[ends] / (wave[ends] - wave[ends + 1])
        tall = heights >= self._floor
        found = self._armed(
            (crossing[tall] + self._held_from).tolist(),
            heights[tall].tolist(),
            sign[ends][tall].tolist(),
        )
        self._held_from += int(ends[-1]) + 1
        self._held = wave[ends[-1] + 1 :]
        return found

    def _armed(
        self, places: list[float], heights: list[float], positive: list[bool]
    ) -> tuple[Floats, Bytes]:
        """The crossings behind half-waves that arm."""
        kept: list[float] = []
        levels: list[int] = []
        for place, height, up in zip(places, heights, positive, strict=True):
            passed = place - self._last_place
            if height < VR_SHARE * self._height * min(1.0, self._pace / passed):
                continue
            level = 0 if up else 1
            if level != self._level:
                kept.append(place)
                levels.append(level)
                self._pace = passed if np.isfinite(passed) else np.inf
                self._last_place, self._level = place, level
            self._height = height if not self._height else (self._height + height) / 2
        return np.array(kept), np.array(levels, np.uint8)

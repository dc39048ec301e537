"""Streams of samples: thresholds found from a part of them, edges from all, too few refused."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from edgewheel.edges.captures.crossings import (
    VR_FLOOR,
    Detector,
    Floats,
    LevelDetector,
    VrDetector,
)
from edgewheel.edges.captures.options import ReadOptions
from edgewheel.edges.table import EdgeChunk
from edgewheel.errors import FileError, Place

LEAST_SAMPLES = 4
"""Samples in the shortest tooth or space; with fewer its edges are guesses."""

SPAN, SHORT_IN_SPAN = 64, 7
"""Of so many pulses so many may be short before they are the signal and not glitches."""

RAIL_QUANTILES = (0.002, 0.998)
RAIL_SHARE = 0.15
NEAR_ZERO = 0.02
AT_RAILS = 0.7
"""A signal that is near its two rails for this share of the time is a level."""


@dataclass(frozen=True)
class Rule:
    """How the samples of one signal become edges, and what to say of it.

    `two_levels` says that the file holds levels, not voltages.
    """

    detector: Detector
    words: str
    two_levels: bool = False


def rule_for(name: str, part: Floats, options: ReadOptions, path: str) -> Rule:
    """The rule for a signal of which `part` (n,) has been looked at. Raises FileError."""
    lowest, highest = float(part.min()), float(part.max())
    if lowest == highest and options.high is None:
        raise FileError(
            Place(path),
            f"'{name}' is constant at {lowest:g} wherever it was looked at",
            "Choose another column with --column, or check the wiring of the capture.",
        )
    values = np.unique(part[:100_000])
    if len(values) == 2 and options.signal != "vr" and options.high is None:
        middle = float(values.mean())
        return Rule(LevelDetector(middle, middle, exact=True), f"{name}: two levels", True)
    low_rail, high_rail = (float(q) for q in np.quantile(part, RAIL_QUANTILES))
    if _is_vr(part, low_rail, high_rail, options):
        return _vr_rule(name, part, options)
    span = high_rail - low_rail
    low = options.low if options.low is not None else low_rail + span / 3
    high = options.high if options.high is not None else low_rail + span * 2 / 3
    if options.low is None and options.high is not None:
        low = high - span / 10
    if low > high:
        problem = f"the low threshold {low:g} is above the high one {high:g}"
        raise FileError(Place(path), problem, "Swap them.")
    words = f"{name}: level between {low_rail:.3g} and {high_rail:.3g}, low below {low:.3g}, "
    return Rule(LevelDetector(low, high), words + f"high above {high:.3g}")


def _is_vr(part: Floats, low_rail: float, high_rail: float, options: ReadOptions) -> bool:
    if options.signal != "auto" or options.low is not None:
        return options.signal == "vr"
    near = RAIL_SHARE * (high_rail - low_rail)
    at_rails = np.mean((part < low_rail + near) | (part > high_rail - near))
    return bool(at_rails < AT_RAILS) and low_rail < 0 < high_rail


def _vr_rule(name: str, part: Floats, options: ReadOptions) -> Rule:
    highest = float(np.abs(part).max())
    zero = float(np.median(part))
    zero = zero if abs(zero) > NEAR_ZERO * highest else 0.0
    floor = (
        options.high if options.high is not None else VR_FLOOR * float(np.abs(part - zero).max())
    )
    words = (
        f"{name}: VR, crossings of {zero:.3g} behind half-waves above {floor:.3g} "
        "and a third of the last ones, less as they slow down"
    )
    return Rule(VrDetector(zero, floor), words)


class SampleEdges:
    """Turns blocks of samples of several signals into edges at ticks."""

    def __init__(self, rules: Sequence[Rule]) -> None:
        self._detectors = [rule.detector for rule in rules]
        self._shortest: list[list[Floats]] = [[] for _ in rules]
        self._last = [-np.inf] * len(rules)

    def chunk(self, block: Floats, to_ticks: Callable[[Floats], Floats]) -> EdgeChunk:
        """The edges that a block (n, signals) of samples completes, ascending.

        `to_ticks` gives the ticks of places (k,) in samples from the first of all.
        """
        ticks, track, level = [], [], []
        for number, detector in enumerate(self._detectors):
            places, levels = detector.feed(block[:, number])
            if not len(places):
                continue
            self._shortest[number].append(np.diff(places, prepend=self._last[number]))
            self._last[number] = float(places[-1])
            ticks.append(np.rint(to_ticks(places)).astype(np.int64))
            track.append(np.full(len(places), number, np.uint8))
            level.append(levels)
        if not ticks:
            return EdgeChunk.empty()
        all_ticks, tracks = np.concatenate(ticks), np.concatenate(track)
        order = np.lexsort((tracks, all_ticks))
        return EdgeChunk(all_ticks[order], tracks[order], np.concatenate(level)[order])

    def check(self, names: Sequence[str], rate_hz: Fraction, path: str) -> list[str]:
        """Refuse signals that were sampled too slowly; returns what to say of glitches.

        Raises FileError with the rate that would do.
        """
        notes = []
        for name, parts in zip(names, self._shortest, strict=True):
            if not parts:
                continue
            lengths = np.concatenate(parts)
            lengths = lengths[np.isfinite(lengths)]
            short = lengths < LEAST_SAMPLES - 1
            if _often(short):
                typical = float(np.quantile(lengths[short], 0.1))
                raise _too_slow(name, typical, rate_hz, path)
            if short.any():
                notes.append(f"{name}: {int(short.sum())} pulses shorter than 3 samples are kept")
        return notes


def _often(short: npt.NDArray[np.bool_]) -> bool:
    """True if short pulses come so thick somewhere that they are the signal."""
    if len(short) <= SPAN:
        return bool(short.sum() > len(short) / 8)
    sums = np.cumsum(np.concatenate([[0], short]))
    return bool(np.any(sums[SPAN:] - sums[:-SPAN] >= SHORT_IN_SPAN))


def _too_slow(name: str, samples: float, rate_hz: Fraction, path: str) -> FileError:
    wanted = float(rate_hz) * (LEAST_SAMPLES + 1) / max(samples, 1.0)
    return FileError(
        Place(path),
        f"'{name}' is sampled too slowly: at {float(rate_hz):,.0f} samples a second its shortest "
        f"pulses are {samples:.1f} samples long, and {LEAST_SAMPLES} are needed",
        f"Capture with at least {_round_up(wanted):,} samples a second; if the short pulses are "
        "noise, take them out with --filter-us.",
    )


def _round_up(rate: float) -> int:
    """A rate with two digits that is not below."""
    step = int(10 ** max(len(str(int(rate))) - 2, 0))
    return -(-math.ceil(rate) // step) * step

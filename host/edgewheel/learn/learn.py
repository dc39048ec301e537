"""Learning: from a capture to the wheel behind it, its speed, and how sure all that is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

from edgewheel.edges.captures.capture import Capture
from edgewheel.errors import FileError, UsageError
from edgewheel.learn.deviations import Deviation, deviations
from edgewheel.learn.familiar import familiar
from edgewheel.learn.few import exact, hides
from edgewheel.learn.hypotheses import Ranked, rank
from edgewheel.learn.outline import Likeness, library, likeness, nearest, outline_of
from edgewheel.learn.pattern import Pattern
from edgewheel.learn.repeat import Repeat, repeat_of
from edgewheel.learn.ripple import compression_ripple
from edgewheel.learn.scale import EVEN_ROW, Scale, scale_of
from edgewheel.learn.shape import LearnedTrack, Shape, shape_of
from edgewheel.learn.streams import Streams, streams_of
from edgewheel.learn.wheelfile import parsed, wheel_text
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import DEG_PER_S_PER_RPM
from edgewheel.wheel.model import Wheel

LEAST_EXPLAINED = 0.6
WELL_EXPLAINED = 0.93
CLOSE_CALL = 0.01
FEWEST_REPEATS = 4.5
"""Fewer leave less than three between the outermost, over which the speed is averaged."""

SAME_SHARE = 0.006
"""Share of a repeat within which two captures show the same wheel."""

LIBRARY_WITHIN_DEG = 1.0
"""A library wheel this near is taken for the one that was meant."""


@dataclass(frozen=True)
class ToothDeviation:
    """A deviation with the tooth's number in the wheel file, counted from 1."""

    track: str
    tooth: int
    deviation: Deviation


@dataclass(frozen=True, eq=False)
class Explanation:
    """One wheel that fits, and what has to be assumed for it.

    `ripple` gives depth and swings a crank turn, None where the speed is taken as even. `like` is
    the nearest wheel of the library.
    """

    wheel: Wheel
    shape: Shape
    scale: Scale
    pattern: Pattern
    repeat: Repeat
    ripple: tuple[float, float] | None
    like: Likeness | None
    deviations: tuple[ToothDeviation, ...]

    @property
    def in_library(self) -> bool:
        """The nearest library wheel is as good as the same."""
        return self.like is not None and self.like.off_deg <= LIBRARY_WITHIN_DEG

    @property
    def ripple_in_library(self) -> CompressionRipple | None:
        """The ripple in the angles of the nearest library wheel, None if there is none."""
        if self.like is None:
            return None
        slot_deg = self.scale.repeat_deg / self.repeat.slots
        zero_deg = self.shape.origin_slot * slot_deg + self.like.turned_deg
        return compression_ripple(self.pattern.swing, slot_deg, zero_deg)

    def text(self, name: str, summary: str, comments: list[str]) -> str:
        """The wheel file."""
        return wheel_text(self.shape, name, summary, comments)


@dataclass(frozen=True, eq=False)
class Learned:
    """What a capture tells. `explanations` are all that fit, the likeliest first; `doubts` are
    sentences on what is not sure, none if the wheel is.

    `speed` are (seconds, rpm) points, ripple averaged out; seconds count from the capture's tick 0.
    """

    name: str
    streams: Streams
    explanations: tuple[Explanation, ...]
    doubts: tuple[str, ...]
    speed: tuple[tuple[float, float], ...]

    @property
    def best(self) -> Explanation:
        return self.explanations[0]

    @property
    def sure(self) -> bool:
        return not self.doubts


def learn(
    capture: Capture,
    rpm: float | None = None,
    second: Capture | None = None,
    teeth: int | None = None,
) -> Learned:
    """The wheel behind a capture. Raises UsageError where none can be found.

    `rpm` is how fast the crank turned as a rule, `teeth` how many of the busiest track passed in a
    turn of it; either settles what the pattern cannot. `second` is another capture of the same
    engine at another speed, which rules out explanations that only one of the two allows.
    """
    learned = _learn(capture, rpm, teeth)
    return learned if second is None else _settled(learned, _learn(second, None, teeth))


def _learn(capture: Capture, rpm: float | None, teeth: int | None) -> Learned:
    streams = streams_of(capture)
    ranked = rank(streams)
    if ranked is None or ranked.best.explained < LEAST_EXPLAINED:
        raise _nothing(capture, streams, ranked)
    explain = partial(_explanation, capture, streams, rpm=rpm, teeth=teeth)
    explanations = [one for reading in ranked.readings if (one := explain(reading)) is not None]
    if hides(ranked.best) and not any(one.in_library for one in explanations):
        explanations += _familiar(ranked.best, explain)
    if not explanations:
        raise _nothing(capture, streams, ranked)
    explanations.sort(key=lambda one: not one.in_library)
    best = explanations[0]
    return Learned(
        capture.name,
        streams,
        tuple(explanations),
        tuple(_doubts(ranked, best, len(explanations))),
        _speed(best),
    )


def _familiar(
    pattern: Pattern, explain: Callable[[Pattern], Explanation | None]
) -> list[Explanation]:
    """The library wheels that the pattern is under ripple, each pattern of edges once."""
    found: dict[str, Explanation] = {}
    for reading in familiar(pattern, library()):
        one = explain(reading)
        if one is not None and one.like is not None:
            found.setdefault(one.like.name, one)
    return list(found.values())


def _nothing(capture: Capture, streams: Streams, ranked: Ranked | None) -> UsageError:
    edges = sum(len(stream.times) for stream in streams.streams)
    seconds = streams.end_s - streams.begin_s
    seen = f"{capture.name} has {edges} edges on {', '.join(streams.tracks)} in {seconds:.3g} s"
    if ranked is None:
        return UsageError(
            f"{seen}, and nothing in them repeats three times. Capture at least ten turns "
            "without a standstill, and check that the right column was read."
        )
    share = ranked.best.explained
    if share >= LEAST_EXPLAINED:
        return UsageError(
            f"{seen}, and in the pattern that explains {share:.0%} of them teeth overlap, so it is "
            "no wheel's. Capture more turns at steady speed."
        )
    return UsageError(
        f"{seen}, and the best pattern explains only {share:.0%} of them, too little to call it a "
        "wheel. Capture at steady speed, or filter out noise and bounce with --filter-us."
    )


def _explanation(
    capture: Capture, streams: Streams, pattern: Pattern, rpm: float | None, teeth: int | None
) -> Explanation | None:
    """The wheel that a pattern means, None if its teeth do not fit round the shaft."""
    repeat = repeat_of(pattern)
    one_edge = dict.fromkeys(capture.widthless, capture.real_level)
    times = np.diff(pattern.course.even_s[:: repeat.slots])
    if not len(times):
        times = np.array([pattern.course.even_s[-1] - pattern.course.even_s[0]])
    scale = scale_of(repeat, float(times.min()), float(times.mean()), rpm, teeth)
    shape = shape_of(
        repeat,
        pattern.repeats * repeat.parts,
        scale,
        pattern.main.track,
        pattern.pitched,
        one_edge,
        streams.pulsed,
    )
    try:
        wheel = parsed(wheel_text(shape, "Learned", "learned", []), Path(capture.name))
    except FileError:
        return None
    turn_slots = shape.turn_slots or pattern.period
    found = deviations(pattern, scale.repeat_deg * repeat.parts, turn_slots, capture.resolution_s)
    return Explanation(
        wheel,
        shape,
        scale,
        pattern,
        repeat,
        _ripple(pattern, repeat, scale),
        nearest(outline_of(wheel, one_edge), library()),
        _by_tooth(found, shape, scale, repeat, pattern.main.level),
    )


def _ripple(pattern: Pattern, repeat: Repeat, scale: Scale) -> tuple[float, float] | None:
    """The deepest order of the ripple: depth, and swings a crank turn."""
    swing = pattern.swing
    if not swing.orders:
        return None
    deepest = int(np.argmax(swing.amplitudes))
    turns = scale.repeat_deg * repeat.parts / 360
    return swing.depth(deepest), swing.orders[deepest] / turns


def _by_tooth(
    found: tuple[Deviation, ...], shape: Shape, scale: Scale, repeat: Repeat, level: int
) -> tuple[ToothDeviation, ...]:
    """Deviations with the numbers of their teeth."""
    track = next(one for one in shape.tracks if one.name == shape.main)
    own_share = 1.0 if track.shaft == "crank" else 0.5
    named = []
    for one in found:
        crank_deg = (one.slot - shape.origin_slot) * scale.repeat_deg / repeat.slots
        tooth = _tooth_at(track, crank_deg * own_share, level)
        named.append(ToothDeviation(track.name, tooth, one))
    return tuple(named)


def _tooth_at(track: LearnedTrack, own_deg: float, level: int) -> int:
    """The number of the tooth whose edge to `level` is at an angle of the track's shaft."""
    at_begin = level == (track.metal == "high")
    share = 0.5 if track.kind == "vr" else 0.0 if at_begin else 1.0
    offs = [
        abs((begin + share * (end - begin) - own_deg + 180) % 360 - 180)
        for begin, end in track.teeth
    ]
    return int(np.argmin(offs)) + 1


def _doubts(ranked: Ranked, best: Explanation, fitting: int) -> list[str]:
    pattern = best.pattern
    doubts = []
    if fitting > 1:
        doubts.append(
            f"{fitting} explanations fit: these teeth at even speed, or others under ripple. A "
            "second capture, faster, tells them apart: ripple shrinks with speed, teeth do not."
        )
    elif hides(pattern):
        which = "places and widths" if not exact(pattern) or pattern.teeth < 3 else "widths"
        doubts.append(
            f"With {_counted(pattern.teeth)} a repeat the {which} are as read at this speed: "
            "ripple that comes as often as the teeth would not show. A second capture, faster, "
            "proves them."
        )
    if ranked.recounted:
        doubts.append(
            "Under another ripple its gaps would be a tooth longer or shorter. A second capture, "
            "faster, tells."
        )
    if pattern.explained < WELL_EXPLAINED:
        doubts.append(f"Only {pattern.explained:.0%} of the edges are where the wheel has them.")
    if best.scale.guessed:
        doubts.append(EVEN_ROW)
    if pattern.repeats < FEWEST_REPEATS:
        doubts.append(f"The pattern came only {pattern.repeats:.1f} times; capture ten turns.")
    if pattern.irregular:
        stream, edge = min(pattern.irregular, key=lambda one: abs(one[1].seen - 0.5))
        doubts.append(
            f"An edge on {stream.track} comes in {edge.seen:.0%} of the repeats: it is missing now "
            "and then, or the pattern is longer than it seems. Capture more turns."
        )
    if ranked.shorter or ranked.other_doubt - pattern.doubt < CLOSE_CALL:
        doubts.append("A pattern of another length fits almost as well; capture more turns.")
    return doubts


def _counted(teeth: int) -> str:
    return "1 tooth" if teeth == 1 else f"{teeth} teeth"


def _speed(best: Explanation) -> tuple[tuple[float, float], ...]:
    """Points of speed, one a repeat or so; at both ends carried on in a line."""
    course = best.pattern.course
    rpm_times_slot_s = best.scale.repeat_deg / best.repeat.slots / DEG_PER_S_PER_RPM
    count, margin = len(course.even_s), course.period
    step = max(best.repeat.slots, 8)
    slots = np.arange(margin, count - margin, step)
    if len(slots) < 2:
        mean = rpm_times_slot_s * (count - 1) / float(course.even_s[-1] - course.even_s[0])
        return tuple((float(course.even_s[slot]), mean) for slot in (0, count - 1))
    times, rpm = course.even_s[slots], rpm_times_slot_s / course.slot_seconds()[slots]
    ends = [float(course.times[0]), float(course.times[-1])]
    first = rpm[0] + (ends[0] - times[0]) * (rpm[1] - rpm[0]) / (times[1] - times[0])
    last = rpm[-1] + (ends[1] - times[-1]) * (rpm[-1] - rpm[-2]) / (times[-1] - times[-2])
    bounded = [max(float(first), rpm[0] / 2), max(float(last), rpm[-1] / 2)]
    return (
        (ends[0], bounded[0]),
        *zip(times.tolist(), rpm.tolist(), strict=True),
        (ends[1], bounded[1]),
    )


def _settled(one: Learned, other: Learned) -> Learned:
    """The first capture's explanations that the second allows, too."""
    outlines = [outline_of(explanation.wheel) for explanation in other.explanations]
    both = []
    for explanation in one.explanations:
        own = outline_of(explanation.wheel)
        likes = [like for o in outlines if (like := likeness(own, o, "")) is not None]
        if any(like.off_deg <= SAME_SHARE * own.repeat_deg for like in likes):
            both.append(explanation)
    if not both:
        raise UsageError(
            f"{one.name} and {other.name} do not show the same wheel. Learn each by itself."
        )
    doubts = tuple(d for d in one.doubts if "second capture" not in d) if len(both) == 1 else None
    return replace(one, explanations=tuple(both), doubts=one.doubts if doubts is None else doubts)

"""Where the crank of a captured engine stood, when its wheel is known."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np

from edgewheel.edges.captures.capture import Capture
from edgewheel.errors import UsageError
from edgewheel.learn.course import MAD_TO_SIGMA, Course
from edgewheel.learn.deviations import TIMES_NOISE
from edgewheel.learn.learn import Explanation, learn
from edgewheel.learn.outline import Likeness, likeness, outline_of
from edgewheel.learn.ripple import compression_ripple
from edgewheel.learn.streams import Bools, Floats, running_median, streams_of
from edgewheel.motion.motion import Motion, true_angle
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import DEG_PER_S_PER_RPM, HIGHEST_RPM, Segment
from edgewheel.wheel.model import Wheel

SAME_WHEEL_DEG = 3.0
POINTS_PER_TURN = 12
NEAR_EDGES, LITTLE_SLOTS = 5, 0.02
NS = 10**9
FINE = 10**6


@dataclass(frozen=True)
class KnownMotion:
    """How the engine of a capture turned, in the angles of its wheel file.

    `tracks` gives for each of the wheel's tracks the capture's, None for one that was not captured.
    `recognised` is False where only the speed could be told; then angles mean nothing.
    """

    motion: Motion
    tracks: tuple[str | None, ...]
    recognised: bool

    @property
    def positioned(self) -> bool:
        """True if angles are those of the cycle: without all tracks they may be a turn off."""
        return self.recognised and None not in self.tracks


def known_motion(capture: Capture, wheel: Wheel, speed: Fraction = Fraction(1)) -> KnownMotion:
    """The motion behind a capture that is played `speed` times as fast.

    A capture may lack some of the wheel's tracks, if the others go by their names or it has but
    one, which is then the busiest of the crank. Raises UsageError if it has other tracks.
    """
    there = _captured_part(capture, wheel)
    if there is not wheel:
        known = known_motion(capture, there, speed)
        if not known.recognised and set(capture.header.tracks) - {t.name for t in wheel.tracks}:
            raise _other_tracks(capture, wheel)
        played = dict(zip((track.name for track in there.tracks), known.tracks, strict=True))
        return replace(known, tracks=tuple(played.get(track.name) for track in wheel.tracks))
    found = _recognised(capture, wheel)
    if found is None:
        tracks = _by_name(capture, wheel)
        return KnownMotion(_counted(capture, wheel, tracks, speed), tracks, False)
    explanation, like = found
    theirs = {other: own for own, other in like.pairs}
    tracks = tuple(theirs[track.name] for track in wheel.tracks)
    return KnownMotion(_placed(explanation, like, wheel, capture, speed), tracks, True)


def _captured_part(capture: Capture, wheel: Wheel) -> Wheel:
    """The wheel with the tracks that were captured."""
    names = capture.header.tracks
    if len(names) >= len(wheel.tracks):
        return wheel
    kept = tuple(track for track in wheel.tracks if track.name in names)
    if not kept and len(names) == 1:
        on_crank = [track for track in wheel.tracks if track.shaft == "crank"] or wheel.tracks
        kept = (max(on_crank, key=lambda track: len(track.teeth)),)
    return replace(wheel, tracks=kept) if len(kept) == len(names) else wheel


def _recognised(capture: Capture, wheel: Wheel) -> tuple[Explanation, Likeness] | None:
    """The explanation of the capture that is this wheel, None if there is none."""
    try:
        learned = learn(capture)
    except UsageError:
        return None
    other = outline_of(wheel)
    one_edge = dict.fromkeys(capture.widthless, capture.real_level)
    for explanation in learned.explanations:
        like = likeness(outline_of(explanation.wheel, one_edge), other, wheel.name)
        if like is not None and like.off_deg <= SAME_WHEEL_DEG:
            return explanation, like
    return None


def _placed(
    one: Explanation, like: Likeness, wheel: Wheel, capture: Capture, speed: Fraction
) -> Motion:
    """Pieces of even speed between edges whose time and mean angle are known: nothing drifts."""
    pattern, course = one.pattern, one.pattern.course
    repeat_deg = outline_of(wheel).repeat_deg
    slot_deg = repeat_deg / one.repeat.slots
    turned_deg = like.turned_deg * repeat_deg / one.scale.repeat_deg
    late = pattern.late[course.slot % pattern.period]
    known = np.flatnonzero(~np.isnan(late))
    known = known[_in_place(course, late)[known]]
    step = max(round(360 / slot_deg / POINTS_PER_TURN), 1)
    few = known[:: max(step * len(known) // len(course.even_s), 1)]
    zero_deg = one.shape.origin_slot * slot_deg + turned_deg
    means = (course.slot[few] + late[few]) * slot_deg - zero_deg
    ripple = compression_ripple(pattern.swing, slot_deg, zero_deg)
    end_s = Fraction(capture.end_tick, capture.header.tick_hz)
    return _motion(course.times[few], np.asarray(means), end_s, speed, ripple)


def _in_place(course: Course, late: Floats) -> Bools:
    """Which edges (n,) of a course come when they usually do: `late` slots, give or take little.

    One that a fault moved says nothing of where the crank was. It stands out of the edges near it,
    which slow change of speed does not.
    """
    off = (course.times - course.even_s[course.slot]) / course.slot_seconds()[course.slot] - late
    known = np.flatnonzero(~np.isnan(off))
    jump = np.full(len(off), np.inf)
    jump[known] = np.abs(off[known] - running_median(off[known], NEAR_EDGES))
    usual = MAD_TO_SIGMA * float(np.median(jump[known]))
    # The outermost have no edges on both sides to be compared with.
    ends = NEAR_EDGES // 2
    jump[known[:ends]] = jump[known[-ends:]] = 0
    return np.asarray(jump <= max(LITTLE_SLOTS, TIMES_NOISE * usual))


def _motion(
    times: Floats,
    means: Floats,
    end_s: Fraction,
    speed: Fraction,
    ripple: CompressionRipple | None = None,
) -> Motion:
    """Even speed from point to point (n,) of time and mean angle, carried on to both ends."""
    at = [Fraction(round(time * NS), NS) / speed for time in times.tolist()]
    degrees = [Fraction(round(float(mean) * FINE), FINE) for mean in means]
    rpms = [
        min((b - a) / DEG_PER_S_PER_RPM / (after - before), Fraction(HIGHEST_RPM))
        for (a, b), (before, after) in zip(pairwise(degrees), pairwise(at), strict=True)
    ]
    mean_deg = degrees[0] - rpms[0] * DEG_PER_S_PER_RPM * at[0]
    motion = Motion(start_deg=true_angle(mean_deg, ripple) % 720)
    begin = Fraction(0)
    for number, (rpm, until) in enumerate(zip(rpms, at[1:], strict=True)):
        until = max(until, end_s / speed) if number == len(rpms) - 1 else until
        if until > begin:
            motion.append(Segment(until - begin, rpm, rpm, ripple))
            begin = until
    return motion


def _by_name(capture: Capture, wheel: Wheel) -> tuple[str, ...]:
    """The capture's tracks by the wheel's names, or the only one there is."""
    names = tuple(track.name for track in wheel.tracks)
    if set(names) <= set(capture.header.tracks):
        return names
    if len(names) == len(capture.header.tracks) == 1:
        return capture.header.tracks
    raise _other_tracks(capture, wheel)


def _other_tracks(capture: Capture, wheel: Wheel) -> UsageError:
    names = ", ".join(track.name for track in wheel.tracks)
    return UsageError(
        f"{capture.name} has the tracks {', '.join(capture.header.tracks)}, the wheel has "
        f"{names}, and its pattern is not recognised in them. Say which is which with "
        "'tracks: {crank: left}' below 'capture:', or name another wheel."
    )


def _counted(capture: Capture, wheel: Wheel, tracks: tuple[str, ...], speed: Fraction) -> Motion:
    """The speed by counting teeth of the busiest track, where the pattern is not recognised."""
    teeth = [track.passages(wheel.period) for track in wheel.tracks]
    busiest = int(np.argmax(teeth))
    streams = streams_of(capture)
    stream = streams.of(tracks[busiest], 1) or streams.of(tracks[busiest], 0)
    if stream is None or len(stream.times) < 2 * teeth[busiest]:
        raise UsageError(
            f"{capture.name} holds less than two turns, so its speed cannot be told. Capture more."
        )
    times = stream.times[:: teeth[busiest]]
    angles = np.arange(len(times), dtype=np.float64) * wheel.period
    end_s = Fraction(capture.end_tick, capture.header.tick_hz)
    return _motion(times, angles, end_s, speed)

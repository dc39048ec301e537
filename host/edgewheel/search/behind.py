"""The sound signal behind a capture, and what differs from it, so that such a run can be shrunk.

An edge counts as changed if it stands further from its place on the sound wheel than the capture
scatters: further than 6 standard deviations of all edges of its track and direction, found
robustly, than 0.1 crank degrees, which is the play of any wheel, and than one and a half steps of
the capture's clock or samples. All others are put in their places. Edges that the capture was drawn
with and that nobody measured (of tooth periods) count only where there is one too many or too few.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from math import inf

import numpy as np
import numpy.typing as npt

from edgewheel.bench.plan import Plan
from edgewheel.edges.captures.playback import Playback
from edgewheel.edges.near import nearest
from edgewheel.edges.table import EdgeChunk, Ticks, join
from edgewheel.errors import UsageError
from edgewheel.fault.diff import flips_between
from edgewheel.fault.flips import Flip
from edgewheel.fault.model import US_PER_S
from edgewheel.fault.pipeline import Pipeline
from edgewheel.fault.signal import SignalPlan, sound_signal
from edgewheel.learn.course import MAD_TO_SIGMA
from edgewheel.learn.deviations import IN_STEP, LEAST_DEG, TIMES_NOISE, TIMES_STEP
from edgewheel.learn.known_wheel import known_motion
from edgewheel.motion.motion import Motion, true_angle
from edgewheel.motion.segment import DEG_PER_S_PER_RPM, Segment

CALM_DEG = 0.1
"""The sound motion stays this near to the one that was learned, in as few pieces as that takes."""

MOST_SCATTER = IN_STEP
"""Share of the distance of two teeth from which on scatter leaves no edge a place."""

FINE = 10**6

Floats = npt.NDArray[np.float64]


def way_round(reason: str) -> UsageError:
    """The refusal of a run that cannot be shrunk as a capture, and what to do instead."""
    return UsageError(
        f"This run replays a capture, and {reason}. Let 'edgewheel learn' find its wheel and "
        "faults, run that bench file, and shrink the run."
    )


def behind_capture(plan: Plan) -> tuple[Plan, tuple[Flip, ...]]:
    """The plan of the sound wheel under the motion of a capture, and the flips that make the
    capture of it, in the order of time.

    `plan` plays a capture. Raises UsageError where the wheel is not sure, or edges scatter so that
    they have no place.
    """
    played = plan.signal.capture
    assert played is not None
    known = known_motion(played.capture, plan.wheel, played.speed)
    if not known.recognised:
        raise way_round(f"{plan.wheel.name} is not recognised in it, so no edge has a sound place")
    missing = [t.name for t, own in zip(plan.wheel.tracks, known.tracks, strict=True) if not own]
    if missing:
        raise way_round(f"it has no {' and '.join(missing)}, so the sound signal is not known")
    sound = replace(sound_signal(plan.signal), motion=calmed(known.motion), capture=None)
    return replace(plan, signal=sound), _flips(plan, sound, played)


def _flips(plan: Plan, sound: SignalPlan, played: Playback) -> tuple[Flip, ...]:
    tick_hz = plan.board.tick_hz
    one, other = Pipeline(sound, tick_hz), Pipeline(plan.signal, tick_hz)
    capture = played.capture
    drawn = {
        track: 1 - capture.real_level
        for track, own in enumerate(played.tracks)
        if own in capture.widthless
    }
    angles = Angles.of(sound.motion, tick_hz)
    step_s = capture.resolution_s / float(played.speed)
    edges, captured = join(*one.edges()), join(*other.edges())
    placed = in_place(edges, captured, angles, drawn, step_s * tick_hz)
    end_us = sound.motion.end_s * US_PER_S
    flips = flips_between(one.header, [edges], other.header, [placed], end_us)
    # The sound signal ends at the last edge of the capture and so lacks it.
    last_us = Fraction(int(placed.ticks[-1]) * US_PER_S, tick_hz)
    return tuple(flip for flip in flips if flip.from_us < last_us)


@dataclass(frozen=True, eq=False)
class Angles:
    """Mean crank angle (n,) at ticks (n,), in a line between two of them."""

    ticks: Floats
    mean_deg: Floats

    @classmethod
    def of(cls, motion: Motion, tick_hz: int) -> Angles:
        """Those of a motion at its segments' ends."""
        points = _points(motion)
        return cls(points[:, 0] * tick_hz, points[:, 1])

    def at(self, ticks: Ticks) -> Floats:
        """Degrees (k,) at ticks (k,)."""
        return np.interp(ticks.astype(np.float64), self.ticks, self.mean_deg)

    @property
    def most_a_tick(self) -> float:
        """Degrees a tick at the highest speed."""
        return float(np.max(np.diff(self.mean_deg) / np.diff(self.ticks)))


def in_place(
    sound: EdgeChunk, captured: EdgeChunk, angles: Angles, drawn: dict[int, int], step_ticks: float
) -> EdgeChunk:
    """The captured edges, those that scatter only put where the sound edge is.

    `drawn` gives by track the level to which edges were not measured, `step_ticks` the step of the
    capture. Raises UsageError where they scatter by too much.
    """
    ticks = captured.ticks.copy()
    for track in np.unique(captured.track).tolist():
        for level in (0, 1):
            mine = np.flatnonzero((captured.track == track) & (captured.level == level))
            places = sound.ticks[(sound.track == track) & (sound.level == level)]
            if not len(mine) or not len(places):
                continue
            edge, place = _pairs(captured.ticks[mine], places)
            off = np.abs(angles.at(captured.ticks[mine[edge]]) - angles.at(places[place]))
            least = max(LEAST_DEG, TIMES_STEP * step_ticks * angles.most_a_tick)
            scatter = _scatter(off, angles.at(places), least)
            near = off <= (inf if drawn.get(track) == level else scatter)
            ticks[mine[edge[near]]] = places[place[near]]
    order = np.argsort(ticks, kind="stable")
    return EdgeChunk(ticks[order], captured.track[order], captured.level[order])


def _scatter(off: Floats, places_deg: Floats, least_deg: float) -> float:
    """How far edges that are `off` (n,) degrees may stand from their places."""
    sigma = MAD_TO_SIGMA * float(np.median(off)) if len(off) else 0.0
    scatter = max(least_deg, TIMES_NOISE * sigma)
    if len(places_deg) > 1 and scatter > MOST_SCATTER * float(np.median(np.diff(places_deg))):
        raise way_round(
            f"its edges scatter by {sigma:.2g} degrees round the places of the wheel, so that what "
            "is changed cannot be told from what is not"
        )
    return scatter


def _pairs(one: Ticks, other: Ticks) -> tuple[Ticks, Ticks]:
    """Numbers (k,) in either of those that are each other's nearest, both ascending."""
    there, back = nearest(other, one), nearest(one, other)
    number = np.arange(len(one))
    mutual = back[there] == number
    return number[mutual], there[mutual]


def calmed(motion: Motion) -> Motion:
    """The motion in as few pieces of even speed as stay within `CALM_DEG` of it."""
    points = _points(motion)
    ripple = motion[0].segment.ripple
    chosen = _few(points)
    begins = [motion[n] if n < len(motion) else None for n in chosen]
    at = [one.begin_s if one else motion.end_s for one in begins]
    mean = [Fraction(round(float(points[n, 1]) * FINE), FINE) for n in chosen]
    segments = []
    for (begin, until), (low, high) in zip(pairwise(at), pairwise(mean), strict=True):
        exact = (high - low) / DEG_PER_S_PER_RPM / (until - begin)
        rpm = Fraction(round(float(exact) * FINE), FINE)
        segments.append(Segment(until - begin, rpm, rpm, ripple))
    return Motion(segments, true_angle(mean[0], ripple) % 720, motion.cams)


def _points(motion: Motion) -> Floats:
    """Seconds and mean degrees (n + 1, 2) at the segments' begins and the end."""
    pieces = [motion[number] for number in range(len(motion))]
    begins = [(float(one.begin_s), float(one.begin_mean_deg)) for one in pieces]
    return np.array([*begins, (float(motion.end_s), float(pieces[-1].end_mean_deg))])


def _few(points: Floats) -> list[int]:
    """Numbers of the points (n, 2) that lines must go through to stay within `CALM_DEG` of all.

    Split where a line is furthest off, as in Douglas and Peucker, The Canadian Cartographer 10(2),
    1973.
    """
    kept = {0, len(points) - 1}
    waiting = [(0, len(points) - 1)]
    while waiting:
        first, last = waiting.pop()
        part = points[first : last + 1]
        off = np.abs(part[:, 1] - np.interp(part[:, 0], part[[0, -1], 0], part[[0, -1], 1]))
        worst = first + int(np.argmax(off))
        if off.max() > CALM_DEG:
            kept.add(worst)
            waiting += [(first, worst), (worst, last)]
    return sorted(kept)

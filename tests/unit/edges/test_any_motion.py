"""Properties of the edge table under motions that nobody chose."""

from fractions import Fraction
from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.levels import LevelTable, wheel_levels
from edgewheel.edges.table import EdgeChunk, join
from edgewheel.motion.cam import CamTiming, Wander, moved
from edgewheel.motion.gas import gas_ripple
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import Segment
from edgewheel.wheel.model import Amplitude, Sensor, Tooth, Track, Wheel
from engines import four

TICK_HZ = 125_000_000
RIPPLES = [
    None,
    CompressionRipple(Fraction(1, 4), Fraction(2), Fraction(84)),
    gas_ripple(four(), Fraction(200)),
]
SPEEDS = st.sampled_from([0, 0, 2, 60, 250, 1000, 7000])
LENGTHS = st.fractions(Fraction(1, 1000), Fraction(1, 3), max_denominator=1000)
SENSORS = st.sampled_from(
    [
        Sensor(),
        Sensor(metal="low"),
        Sensor("vr"),
        Sensor("vr", amplitude=Amplitude(Fraction(1), Fraction(240), run_out=Fraction(1, 10))),
    ]
)
TIMINGS = st.sampled_from(
    [
        {},
        {"cam": CamTiming(((Fraction(0), Fraction(-7)),))},
        {"cam": CamTiming(moved(Fraction(0), [(Fraction(1, 7), Fraction(20))], Fraction(90)))},
        {"cam": CamTiming(wander=Wander(Fraction(1), Fraction(1, 9), seed=3))},
    ]
)


@st.composite
def segments(draw, ripples):
    """Segments in both directions, from speed to speed, some at rest."""
    pieces = []
    rpm = Fraction(0)
    for _ in range(draw(st.integers(1, 6))):
        sign = draw(st.sampled_from([1, 1, -1])) if rpm == 0 else (1 if rpm > 0 else -1)
        end = sign * Fraction(draw(SPEEDS))
        pieces.append(Segment(draw(LENGTHS), rpm, end, draw(ripples)))
        rpm = end
    return pieces


def levels_of(crank: Sensor, cam: Sensor) -> LevelTable:
    teeth = tuple(Tooth(Fraction(30 * n), Fraction(30 * n + 12)) for n in range(11))
    moon = (Tooth(Fraction(20), Fraction(200)), Tooth(Fraction(300), Fraction(310)))
    tracks = (Track("crank", "crank", crank, teeth), Track("cam", "cam", cam, moon))
    return wheel_levels(Wheel("12-1", "", 720, tracks))


def check(levels: LevelTable, motion: Motion, cut_s: Fraction) -> None:
    """Time ascends, levels alternate, and a table that is cut in two is the same table."""
    compiler = EdgeCompiler(levels, motion, TICK_HZ)
    whole = join(*compiler.chunks(), EdgeChunk.empty())
    assert (np.diff(whole.ticks) >= 0).all()
    initial = compiler.header().initial
    for track in range(2):
        own = [initial[track], *whole.level[whole.track == track].tolist()]
        assert all(a != b for a, b in pairwise(own))
    first = join(*compiler.chunks(end_s=cut_s, chunk_edges=5), EdgeChunk.empty())
    assert rows(join(first, *compiler.chunks(cut_s))) == rows(whole)
    assert (first.ticks <= float(cut_s * TICK_HZ) + 0.5).all()
    middle = list(initial)
    for _, track, level in rows(first):
        middle[track] = level
    assert compiler.header(cut_s).initial == tuple(middle)


@settings(max_examples=60, deadline=None)
@given(segments(st.sampled_from(RIPPLES)), SENSORS, SENSORS, LENGTHS)
def test_any_motion_makes_a_sound_table(pieces, crank, cam, cut_s):
    check(levels_of(crank, cam), Motion(pieces, Fraction(3)), cut_s)


@settings(max_examples=60, deadline=None)
@given(segments(st.none()), SENSORS, SENSORS, TIMINGS, LENGTHS)
def test_any_timing_makes_a_sound_table(pieces, crank, cam, cams, cut_s):
    check(levels_of(crank, cam), Motion(pieces, Fraction(3), cams), cut_s)


def rows(chunk: EdgeChunk) -> list[tuple[int, int, int]]:
    return list(zip(chunk.ticks.tolist(), chunk.track.tolist(), chunk.level.tolist(), strict=True))

"""VR sensors under a motion: the signal that turns over in reverse and fades with speed."""

from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest

from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.levels import LevelTable, wheel_levels
from edgewheel.edges.table import EdgeChunk, join
from edgewheel.motion.cam import CamTiming, moved
from edgewheel.motion.gas import gas_ripple
from edgewheel.motion.manoeuvres import rock
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import Segment, hold, ramp
from edgewheel.wheel.model import Amplitude, Sensor, Tooth, Track, Wheel
from engines import four

TICK_HZ = 1_000_000
GAS = gas_ripple(four(), Fraction(200))


def sixty_minus_two(amplitude: Amplitude | None = None, metal: str = "high") -> LevelTable:
    """A 60-2 crank under a VR sensor, and a half-moon cam under another; first TDC at 84."""
    teeth = tuple(Tooth(Fraction(6 * n), Fraction(6 * n + 3)) for n in range(58))
    moon = (Tooth(Fraction(20), Fraction(200)),)
    vr = Sensor("vr", metal, amplitude=amplitude)
    return wheel_levels(
        Wheel("60-2", "", 720, (Track("crank", "crank", vr, teeth), Track("cam", "cam", vr, moon)))
    )


def one_tooth(amplitude: Amplitude | None = None) -> LevelTable:
    """Falls at the tooth's centre, 95 degrees, rises at the space's, 275."""
    tooth = (Tooth(Fraction(90), Fraction(100)),)
    sensor = Sensor("vr", amplitude=amplitude)
    return wheel_levels(Wheel("one", "", 360, (Track("crank", "crank", sensor, tooth),)))


def seen_from(rpm: int, **more) -> Amplitude:
    """A sensor of 1 mV per rpm and an input that wants as many mV."""
    return Amplitude(Fraction(1), Fraction(rpm), **more)


def held(rpm: int, turns: str, ripple=None) -> Segment:
    return hold(Fraction(rpm), turns=Fraction(turns), ripple=ripple)


def there_and_back() -> Motion:
    return Motion([held(60, "1/2"), held(-60, "1/2")])


def compiled(levels: LevelTable, motion: Motion, tick_hz: int = TICK_HZ) -> EdgeChunk:
    return join(*EdgeCompiler(levels, motion, tick_hz).chunks())


def rows(chunk: EdgeChunk) -> list[tuple[int, int, int]]:
    return list(zip(chunk.ticks.tolist(), chunk.track.tolist(), chunk.level.tolist(), strict=True))


def test_metal_that_nears_is_positive_whichever_way_it_comes():
    table = compiled(one_tooth(), there_and_back(), 360)
    assert rows(table) == [(95, 0, 0), (180, 0, 1), (265, 0, 0)]


def test_a_wheel_that_rests_before_it_turns_back_turns_over_when_it_moves():
    rest = Motion([held(60, "1/2"), hold(Fraction(0), seconds=Fraction(1)), held(-60, "1/4")])
    assert rows(compiled(one_tooth(), rest, 360)) == [(95, 0, 0), (540, 0, 1), (625, 0, 0)]


def test_a_wheel_that_goes_on_the_same_way_after_a_rest_does_not_turn_over():
    rest = Motion([held(60, "1/2"), hold(Fraction(0), seconds=Fraction(1)), held(60, "1/2")])
    assert rows(compiled(one_tooth(), rest, 360)) == [(95, 0, 0), (635, 0, 1)]


def test_a_crank_that_rocks_between_two_crossings_gives_an_edge_at_each_turn():
    rocking = Motion([held(60, "1/2"), *rock(Fraction(8), Fraction(1), 2, Fraction(1))])
    assert rows(compiled(one_tooth(), rocking, 360)) == [(95, 0, 0), (180, 0, 1), (540, 0, 0)]


@pytest.mark.parametrize(("rpm", "edges"), [(99, 0), (100, 6), (101, 6)])
def test_a_tooth_is_seen_from_the_speed_at_which_it_reaches_the_threshold(rpm, edges):
    levels = one_tooth(seen_from(100))
    compiler = EdgeCompiler(levels, Motion([held(rpm, "3")]), TICK_HZ)
    assert len(join(*compiler.chunks(), EdgeChunk.empty())) == edges
    assert compiler.header().initial == (int(edges > 0),)


def test_run_out_of_as_good_as_one_leaves_nothing_of_the_tooth_on_the_far_side():
    near = seen_from(100, run_out=1 - Fraction(1, 10**20), closest_at=Fraction(185))
    assert len(compiled(one_tooth(near), Motion([held(9000, "1")]))) == 0


def test_from_rest_the_signal_appears_at_its_speed_and_begins_low():
    up = Motion([ramp(Fraction(0), Fraction(600), seconds=Fraction(2))])
    compiler = EdgeCompiler(sixty_minus_two(seen_from(120)), up, TICK_HZ)
    table = join(*compiler.chunks())
    first = table[table.track == 0]
    assert compiler.header().initial == (0, 0)
    assert first.level[0] == 1
    assert 0.4 <= first.ticks[0] / TICK_HZ < 0.4 + 1 / 60


def test_a_hall_track_beside_a_weak_sensor_has_its_edge_at_the_very_begin_of_a_start():
    """Its tooth begins at 0, where the crank still rests; the half-waves come at their speed."""
    teeth = (Tooth(Fraction(0), Fraction(30)),)
    vr = Track("crank", "crank", Sensor("vr", amplitude=seen_from(120)), teeth)
    levels = wheel_levels(Wheel("both", "", 720, (vr, Track("cam", "cam", Sensor(), teeth))))
    up = Motion([ramp(Fraction(0), Fraction(600), seconds=Fraction(2))])
    table = compiled(levels, up)
    assert rows(table[table.track == 1])[:2] == [(0, 1, 1), (258199, 1, 0)]


def test_beyond_the_knee_the_amplitude_grows_no_more():
    weak = one_tooth(seen_from(100, knee_rpm=Fraction(90)))
    assert len(join(*EdgeCompiler(weak, Motion([held(6000, "9")]), TICK_HZ).chunks())) == 0


def test_run_out_takes_the_teeth_on_the_far_side_of_a_turn():
    amplitude = seen_from(100, run_out=Fraction("0.2"), closest_at=Fraction(90))
    table = compiled(sixty_minus_two(amplitude), Motion([held(100, "1")]))
    falls = table.ticks[(table.track == 0) & (table.level == 0)] * 600e-6
    assert 0 < falls.min() < 8
    assert 175 < falls.max() < 182


@pytest.mark.parametrize(("rpm", "seen"), [(79, False), (81, True), (-79, False), (-81, True)])
def test_a_half_wave_is_as_strong_as_at_its_middle(rpm, seen):
    """From the space's centre at 275 degrees to the tooth's at 95, either way: 5 or 185 degrees."""
    middle = Fraction(5 if rpm > 0 else 185)
    levels = one_tooth(seen_from(100, run_out=Fraction(1, 4), closest_at=middle))
    table = join(*EdgeCompiler(levels, Motion([held(rpm, "3")]), TICK_HZ).chunks())
    assert (len(table) > 4) is seen


def test_cranking_loses_teeth_at_each_compression_and_in_pairs():
    motion = Motion([held(200, "2", GAS)])
    table = compiled(sixty_minus_two(seen_from(175)), motion)
    whole = compiled(sixty_minus_two(), motion)
    own = table[table.track == 0]
    assert (np.diff(own.level.astype(int)) != 0).all()
    lost = np.setdiff1d(whole.ticks[(whole.track == 0) & (whole.level == 0)], own.ticks)
    angles = [float(motion.at(Fraction(int(tick), TICK_HZ)).angle_deg) for tick in lost]
    away = [abs((angle - 84 + 90) % 180 - 90) for angle in angles]
    assert len(lost) >= 20
    assert max(away) < 35
    assert {int((angle - 84 + 90) // 180) for angle in angles} == {0, 1, 2, 3}


def motions() -> dict[str, Motion]:
    return {
        "cranking": Motion([held(200, "3", GAS)]),
        "from rest": Motion([ramp(Fraction(0), Fraction(500), seconds=Fraction(1), ripple=GAS)]),
        "there and back": Motion(
            [
                ramp(Fraction(0), Fraction(300), seconds=Fraction(1, 2)),
                held(300, "1.3"),
                ramp(Fraction(300), Fraction(0), seconds=Fraction(1, 3)),
                *rock(Fraction(31), Fraction(1, 5), 3, Fraction(1, 2)),
                hold(Fraction(0), seconds=Fraction(1, 4)),
                ramp(Fraction(0), Fraction(-300), seconds=Fraction(1, 3), ripple=GAS),
                ramp(Fraction(-300), Fraction(0), seconds=Fraction(1, 3), ripple=GAS),
                ramp(Fraction(0), Fraction(250), seconds=Fraction(1, 3)),
            ]
        ),
        "cam moving": Motion(
            [held(230, "4", GAS)],
            cams={
                "cam": CamTiming(moved(Fraction(0), [(Fraction(1, 4), Fraction(30))], Fraction(40)))
            },
        ),
    }


WEAK = seen_from(185, run_out=Fraction("0.15"), closest_at=Fraction(30))


def judged(levels: LevelTable, strong: LevelTable, motion: Motion) -> list[tuple[int, int, int]]:
    """The rows that are seen, half-wave by half-wave, by the rule as it is written down."""
    initial = EdgeCompiler(levels, motion, TICK_HZ).header().initial
    high = {track: bool(level) for track, level in enumerate(initial)}
    kept = []
    turns = {round(motion[n].begin_s * TICK_HZ) for n in range(len(motion))}
    for tick, track, level in rows(compiled(strong, motion)):
        if level:
            high[track] = tick not in turns and strong_enough(levels, motion, tick, track)
        if high[track]:
            kept.append((tick, track, level))
    return kept


def strong_enough(levels: LevelTable, motion: Motion, tick: int, track: int) -> bool:
    """Whether the half-wave that begins with the rise at a tick is seen."""
    seconds = Fraction(tick, TICK_HZ)
    segment = motion[motion.index_at(seconds)].segment
    own = [a for a, t in zip(levels.angles, levels.track, strict=True) if t == track]
    crank_deg = motion.at(seconds).angle_deg
    rise = min(own, key=lambda angle: abs((crank_deg - angle + 360) % 720 - 360))
    at = own.index(rise)
    if segment.direction > 0:
        middle = rise + (own[(at + 1) % len(own)] - rise) % 720 / 2
    else:
        middle = rise - (rise - own[at - 1]) % 720 / 2
    ratio = segment.ripple.speed_ratio(middle) if segment.ripple else 1
    within = seconds - motion[motion.index_at(seconds)].begin_s
    mean_rpm = abs(float(segment.rpm_begin + segment.rpm_per_s * within))
    turn = {0: 360, 1: 720}[track]
    away = np.radians(float(middle) * 360 / turn - 30)
    return mean_rpm * ratio * (1 + 0.15 * np.cos(away)) >= 185


@pytest.mark.parametrize("name", ["cranking", "from rest", "there and back"])
def test_what_is_seen_is_what_the_rule_says(name):
    levels = sixty_minus_two(WEAK)
    found = rows(compiled(levels, motions()[name]))
    expected = judged(levels, levels.without_amplitudes(), motions()[name])
    assert found == expected
    assert 0 < len(found) < len(compiled(levels.without_amplitudes(), motions()[name]))


@pytest.mark.parametrize("name", motions())
@pytest.mark.parametrize("amplitude", [None, WEAK], ids=["strong", "weak"])
@pytest.mark.parametrize("metal", ["high", "low"])
def test_chunks_seeks_and_levels_agree(name, amplitude, metal):
    compiler = EdgeCompiler(sixty_minus_two(amplitude, metal), motions()[name], TICK_HZ)
    whole = join(*compiler.chunks())
    for chunk_edges in (1, 13):
        assert rows(join(*compiler.chunks(chunk_edges=chunk_edges))) == rows(whole)
    levels = list(compiler.header().initial)
    for track in range(2):
        own = [levels[track], *whole.level[whole.track == track].tolist()]
        assert all(a != b for a, b in pairwise(own))
    done = 0
    for seconds in [Fraction(n, 16) for n in range(1, 48, 3)]:
        cut = int(np.searchsorted(whole.ticks, float(seconds * TICK_HZ)))
        for _, track, level in rows(whole[done:cut]):
            levels[track] = level
        done = cut
        assert compiler.header(seconds).initial == tuple(levels)
        assert rows(join(*compiler.chunks(seconds), EdgeChunk.empty())) == rows(whole[cut:])

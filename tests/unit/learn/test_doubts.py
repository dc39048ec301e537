"""What a capture cannot tell is said, and what would settle it does."""

from fractions import Fraction

import numpy as np
import pytest

from captures import capture_of, off_deg, spoilt, table
from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.levels import wheel_levels
from edgewheel.edges.table import EdgeChunk, EdgeHeader, join
from edgewheel.errors import UsageError
from edgewheel.learn.joint import Irregular
from edgewheel.learn.learn import learn
from edgewheel.learn.scale import EVEN_ROW
from edgewheel.learn.wording import report, wheel_comments
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold, ramp
from edgewheel.wheel.library import find
from edgewheel.wheel.loader import parse_wheel
from edgewheel.wheel.model import Sensor, Tooth, Track, Wheel

CRANKING = CompressionRipple(Fraction("0.15"), Fraction(2), Fraction(80))


def turning(name: str, rpm: int, depth: str | None, turns: int = 60):
    ripple = CompressionRipple(Fraction(depth), Fraction(1, 2), Fraction(50)) if depth else None
    motion = Motion([hold(Fraction(rpm), turns=Fraction(turns), ripple=ripple)])
    compiler = EdgeCompiler(wheel_levels(find(name)), motion, 1_000_000)
    return capture_of(compiler.header(), join(*compiler.chunks()), f"{name} at {rpm}")


def test_few_teeth_under_ripple_look_like_uneven_teeth_and_that_is_said():
    learned = learn(turning("2-odd-fire-cam", 1000, None))
    assert not learned.sure
    assert len(learned.explanations) == 2
    assert "second capture, faster" in learned.doubts[0].lower()
    assert any(
        off_deg(find("2-odd-fire-cam"), one.wheel) is not None for one in learned.explanations
    )
    assert "explanation 2" in "\n".join(report(learned))


def test_a_second_speed_settles_it_for_uneven_teeth():
    slow, fast = turning("2-odd-fire-cam", 300, None), turning("2-odd-fire-cam", 3000, None)
    alone, settled = learn(slow), learn(slow, second=fast)
    assert len(alone.explanations) == 2
    assert off_deg(find("2-odd-fire-cam"), settled.explanations[0].wheel) < 1
    assert "Two explanations fit" not in " ".join(alone.doubts[1:])


def test_a_second_speed_settles_it_for_even_teeth():
    """Ripple of 20 % while cranking, next to none at speed."""
    slow, fast = turning("2-even-cam", 200, "0.2"), turning("2-even-cam", 3000, None)
    alone, settled = learn(slow), learn(slow, second=fast)
    assert len(alone.explanations) == 2
    assert len(settled.explanations) == 1
    assert off_deg(find("2-even-cam"), settled.best.wheel) == pytest.approx(0, abs=6)


@pytest.mark.parametrize("name", ["3-plus-1", "4-minus-1", "12-plus-1", "3-uneven-windows"])
def test_a_wheel_of_the_library_is_seen_through_ripple_but_never_sure_at_one_speed(name):
    """Cranking swings the speed by 15 % twice a turn, which bends these teeth as wear would."""
    header, edges = table(name, "cranking")
    learned = learn(capture_of(header, spoilt(header, edges, seed=3)))
    assert learned.best.in_library and not learned.sure
    assert off_deg(find(name), learned.best.wheel) < 1.5
    depth, per_turn = learned.best.ripple
    assert depth == pytest.approx(0.15, abs=0.01)
    assert per_turn == 2
    assert "second capture, faster" in learned.doubts[0].lower()


def test_two_captures_of_different_wheels_are_refused():
    with pytest.raises(UsageError, match="do not show the same wheel"):
        learn(turning("36-minus-1", 800, None), second=turning("60-minus-2", 800, None))


def test_how_many_teeth_an_even_wheel_has_is_known_once_somebody_says_the_speed():
    capture = turning("60-even-1-tooth-cam", 1000, None)
    crank = capture_of(
        EdgeHeader(1_000_000, ("crank",), (0,)),
        EdgeChunk(*(column[capture.edges.track == 0] for column in
                    (capture.edges.ticks, capture.edges.track, capture.edges.level))),
    )  # fmt: skip
    guess = learn(crank)
    assert not guess.best.scale.known
    assert EVEN_ROW in guess.doubts
    told = learn(crank, rpm=1000)
    assert learn(crank, teeth=60).speed == told.speed
    assert told.best.scale.known and EVEN_ROW not in told.doubts
    assert len(told.best.wheel.tracks[0].teeth) == 60
    assert told.speed[5][1] == pytest.approx(1000, rel=0.001)


def test_a_direction_sensor_is_known_by_pulses_that_keep_their_time():
    learned = learn(capture_of(*table("36-minus-1-direction", "up", 125_000_000)))
    pulse = learned.best.wheel.tracks[0].sensor.direction
    assert pulse is not None
    assert pulse.forward_us == 30


def test_gaps_at_a_steady_speed_make_no_direction_sensor():
    """Two gaps of two near each other: 24 teeth take a sixth longer across them."""
    teeth = "{pitches: 72, missing: [3, 4, 11, 12]}"
    words = f"format: 1\nname: a\nperiod: 360\ntracks: {{crank: {{shaft: crank, teeth: {teeth}}}}}"
    motion = Motion([hold(Fraction(800), turns=Fraction(8))])
    compiler = EdgeCompiler(wheel_levels(parse_wheel(words, "a")), motion, 1_000_000)
    learned = learn(capture_of(compiler.header(), join(*compiler.chunks())))
    assert learned.best.wheel.tracks[0].sensor.direction is None


def test_random_edges_are_no_wheel():
    ticks = np.cumsum(np.random.default_rng(1).exponential(1000, 4000).astype(np.int64) + 1)
    level = np.arange(4000, dtype=np.uint8) % 2
    edges = EdgeChunk(ticks, np.zeros(4000, np.uint8), level)
    with pytest.raises(UsageError, match=r"3999 edges on crank.*(nothing|too little)"):
        learn(capture_of(EdgeHeader(1_000_000, ("crank",), (1,)), edges))


@pytest.mark.parametrize("turns", [10, 20])
@pytest.mark.parametrize("noisy", [False, True])
def test_one_cam_tooth_of_seven_tells_the_two_turns_of_a_cycle_apart(turns, noisy):
    """The other six, and all of the crank's, come again after a turn of the crank."""
    name = "60-minus-2-6-tooth-cam"
    capture = turning(name, 1000, None, turns)
    if noisy:
        capture = capture_of(capture.header, spoilt(capture.header, capture.edges, seed=3))
    learned = learn(capture)
    assert learned.sure and learned.best.scale.known
    assert off_deg(find(name), learned.best.wheel) < 0.5


def test_eight_turns_do_not_tell_every_second_turn_from_now_and_then():
    """Four of eight fall on every second turn by chance in 2 of 70 cases."""
    learned = learn(turning("60-minus-2-6-tooth-cam", 1000, None, 8))
    assert "now and then" in " ".join(learned.doubts)


@pytest.mark.parametrize("share", [0.4, 0.5])
def test_a_cam_tooth_that_comes_now_and_then_leaves_a_doubt(share):
    """No longer pattern explains it: a weak tooth, or one too many."""
    capture = turning("60-minus-2-6-tooth-cam", 1000, None, 40)
    edges = capture.edges
    cam = np.flatnonzero(edges.track == 1)
    pulses = cam[: len(cam) // 2 * 2].reshape(-1, 2)[2::7]
    gone = pulses[np.random.default_rng(1).random(len(pulses)) > share].ravel()
    kept = np.setdiff1d(np.arange(len(edges)), gone)
    learned = learn(
        capture_of(
            capture.header, EdgeChunk(edges.ticks[kept], edges.track[kept], edges.level[kept])
        )
    )
    assert "of the repeats: it is missing now and then" in " ".join(learned.doubts)
    assert "cam" in learned.doubts[0]


@pytest.mark.parametrize(
    ("name", "speed", "seed"),
    [
        ("6-plus-1", hold(Fraction(250), turns=Fraction(20), ripple=CRANKING), 4),
        ("16-2-gaps-cam", hold(Fraction(250), turns=Fraction(20), ripple=CRANKING), 4),
        ("60-minus-2-direction", ramp(Fraction(4000), Fraction(800), turns=Fraction(20)), 6),
    ],
)
def test_scatter_that_twenty_turns_do_not_average_out_makes_no_other_wheel(name, speed, seed):
    """Three turns taken for one, a width that only scatter tells from others, chance that looks
    regular over two cycles.
    """
    motion = Motion([speed], Fraction(77))
    compiler = EdgeCompiler(wheel_levels(find(name)), motion, 1_000_000)
    header, edges = compiler.header(), join(*compiler.chunks())
    learned = learn(capture_of(header, spoilt(header, edges, seed=seed)))
    off = off_deg(find(name), learned.best.wheel)
    assert not learned.sure or (off is not None and off < 0.5)


def test_how_likely_chance_is_as_regular():
    """Five in ten repeats fall on all even or all odd ones in 2 of the 252 ways there are."""
    assert Irregular((0, 2, 4, 6, 8), 10).by_chance(2) == pytest.approx(2 / 252)
    assert Irregular((0, 1, 2, 5, 6), 10).by_chance(2) == 1
    assert Irregular((0, 1, 3, 4, 6, 7), 9).by_chance(3) == pytest.approx(3 / 84)


def test_two_turns_or_four_cycles_are_too_few_to_be_sure():
    header, edges = table("60-minus-2", "steady")
    assert not learn(capture_of(header, edges[:240])).sure
    assert not learn(turning("60-minus-2-half-moon-cam", 1000, None, 8)).sure


def test_a_row_read_as_unequal_teeth_at_even_speed_is_not_sure():
    """Two gaps of one in thirty behind a VR sensor, while the speed swings by a fifth."""
    teeth = tuple(
        Tooth(Fraction(12 * n), Fraction(12 * n + 4)) for n in range(30) if n not in (23, 27)
    )
    wheel = Wheel("thirty", "", 360, (Track("crank", "crank", Sensor("vr", "low"), teeth),))
    fifth = CompressionRipple(Fraction("0.2"), Fraction(2), Fraction(209))
    motion = Motion([hold(Fraction(3000), turns=Fraction(30), ripple=fifth)], Fraction(190))
    compiler = EdgeCompiler(wheel_levels(wheel), motion, 1_000_000)
    header, edges = compiler.header(), join(*compiler.chunks())
    learned = learn(capture_of(header, spoilt(header, edges, seed=20, dropped=0)))
    assert not learned.best.pattern.pitched and not learned.sure


@pytest.mark.parametrize(
    ("kind", "slowest", "sure"), [("hall", 50, False), ("vr", 50, False), ("vr", 120, True)]
)
def test_a_gap_that_ripple_bends_by_half_a_pitch_is_counted_right(kind, slowest, sure):
    """Three teeth missing of eighteen at 20 %: the gap lasts as long as one of two, or of four."""
    teeth = tuple(Tooth(Fraction(20 * n), Fraction(20 * n + 8)) for n in range(15))
    metal = "low" if kind == "vr" else "high"
    wheel = Wheel("eighteen", "", 360, (Track("crank", "crank", Sensor(kind, metal), teeth),))
    ripple = CompressionRipple(Fraction("0.2"), Fraction(2), Fraction(slowest))
    motion = Motion([hold(Fraction(1000), turns=Fraction(30), ripple=ripple)], Fraction(100))
    compiler = EdgeCompiler(wheel_levels(wheel), motion, 1_000_000)
    learned = learn(capture_of(compiler.header(), join(*compiler.chunks())))
    assert off_deg(wheel, learned.best.wheel) < 0.5
    assert any("Under another ripple" in doubt for doubt in learned.doubts) is not sure


def test_standstill_before_and_after_is_left_out():
    header, edges = table("36-minus-1", "steady")
    late = EdgeChunk(edges.ticks + 9_000_000, edges.track, edges.level)
    both = join(edges[:30], late)
    learned = learn(capture_of(header, both))
    assert learned.streams.begin_s > 8.9
    assert len(learned.best.wheel.tracks[0].teeth) == 35


def test_the_wheel_file_is_a_wheel_file_with_its_evidence():
    learned = learn(capture_of(*table("60-minus-2-half-moon-cam", "up"), "fan-7.vcd"))
    text = learned.best.text("60-2", "from a log", wheel_comments(learned, learned.best))
    assert text.startswith("# Learned from fan-7.vcd: sure.")
    assert "# the library's 60-minus-2-half-moon-cam" in text
    assert off_deg(find("60-minus-2-half-moon-cam"), parse_wheel(text, "learned")) < 0.3

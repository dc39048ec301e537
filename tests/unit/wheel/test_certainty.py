import random
from fractions import Fraction

import pytest

from edgewheel.wheel import library
from edgewheel.wheel.certainty import DECODERS, Decoder, Wait, certainty
from edgewheel.wheel.loader import parse_wheel
from edgewheel.wheel.model import DirectionPulse, Sensor, Tooth, Track, Wheel
from every_start import TryEverything
from library_wheels import entries

TOLERANCE = Fraction(1, 4)


def crank(teeth: str, period: int = 720, more: str = "") -> Wheel:
    return parse_wheel(
        f"format: 1\nname: t\nperiod: {period}\ntracks:\n"
        f"  crank: {{shaft: crank, teeth: {teeth}}}\n{more}",
        "t.yaml",
    )


def measure(wait: Wait | None) -> tuple[Fraction, int] | None:
    return wait and (wait.degrees, wait.edges)


def agrees_with_trying_everything(wheel: Wheel, decoder: Decoder, tolerance: Fraction) -> None:
    found = certainty(wheel, decoder, tolerance)
    slow = TryEverything(wheel, decoder.edges, decoder.reads_levels, tolerance)
    assert measure(found.position) == slow.longest(slow.position)
    assert measure(found.phase) == slow.longest(slow.phase)


@pytest.mark.parametrize("wheel", [pytest.param(e.wheel, id=e.stem) for e in entries()])
@pytest.mark.parametrize("decoder", DECODERS, ids=str)
def test_library_wheel_agrees_with_trying_every_start(wheel: Wheel, decoder: Decoder):
    agrees_with_trying_everything(wheel, decoder, TOLERANCE)


def random_wheel(seed: int) -> Wheel:
    """Teeth on a coarse grid, so that symmetric and nearly symmetric patterns are common."""
    rng = random.Random(seed)
    period = rng.choice([360, 720, 720])
    tracks = []
    for number in range(rng.randint(1, 3)):
        grid = rng.choice([6, 8, 12, 24])
        cuts = sorted(rng.sample(range(grid), 2 * rng.randint(1, min(5, grid // 2))))
        repeats = rng.choice([1, 1, 2, 3])
        step = Fraction(360, grid * repeats)
        teeth = tuple(
            Tooth(turn * grid * step + begin * step, turn * grid * step + end * step)
            for turn in range(repeats)
            for begin, end in zip(cuts[::2], cuts[1::2], strict=True)
        )
        pulse = DirectionPulse(Fraction(45), Fraction(90))
        sensor = rng.choice(
            [Sensor(), Sensor(metal="low"), Sensor("vr"), Sensor(direction=pulse), Sensor()]
        )
        shaft = "crank" if period == 360 else rng.choice(["crank", "cam"])
        tracks.append(Track(f"t{number}", shaft, sensor, teeth))
    return Wheel(f"random {seed}", "", period, tuple(tracks))


@pytest.mark.parametrize("block", range(10))
def test_500_random_wheels_agree_with_trying_every_start(block: int):
    for seed in range(50 * block, 50 * block + 50):
        wheel, tolerance = random_wheel(seed), Fraction(seed % 4, 10)
        for decoder in DECODERS:
            agrees_with_trying_everything(wheel, decoder, tolerance)


def test_random_wheels_are_of_every_kind():
    """Otherwise the test above could pass on wheels that all look the same."""
    found = [certainty(random_wheel(n), DECODERS[0], TOLERANCE) for n in range(200)]
    assert sum(one.position is None for one in found) > 20
    assert sum(one.position is not None and one.phase is None for one in found) > 20
    assert sum(one.phase is not None for one in found) > 20


@pytest.mark.parametrize("decoder", DECODERS, ids=str)
def test_even_wheel_alone_never_tells_the_position(decoder: Decoder):
    found = certainty(crank("{pitches: 12}"), decoder, TOLERANCE)
    assert found.position is None
    assert found.phase is None
    half_a_pitch = decoder == Decoder("both", False)
    assert found.alike_deg[0] == (15 if half_a_pitch else 30)


def test_even_wheel_with_a_tooth_on_the_cam_tells_both():
    wheel = crank("{pitches: 12}", more="  cam: {shaft: cam, teeth: [[340, 350]]}\n")
    found = certainty(wheel, Decoder("rise", False), TOLERANCE)
    assert found.position and found.phase
    assert found.alike_deg == ()


def test_one_tooth_a_turn_is_known_at_its_first_edge():
    found = certainty(crank("[[10, 20]]", 360), Decoder("rise", False), TOLERANCE)
    assert found.position == Wait(Fraction(360), 1, 1, Fraction(10))


def test_a_missing_tooth_is_found_within_a_turn_but_tells_no_phase():
    """From just behind the last tooth 35 teeth pass, and only the first tooth has 34 behind it."""
    found = certainty(crank("{pitches: 36, missing: 1}"), Decoder("rise", False), TOLERANCE)
    assert found.position == Wait(Fraction(360), 35, 35, Fraction(340))
    assert found.phase is None
    assert found.alike_deg == (360,)


def test_wide_tooth_in_place_of_a_gap_is_hidden_from_one_edge():
    wheel = crank("{pitches: 12, missing: 1, width: 1/3, extra: [[330, 355]]}", 360)
    assert certainty(wheel, Decoder("rise", False), TOLERANCE).position is None
    assert certainty(wheel, Decoder("fall", False), TOLERANCE).position
    assert certainty(wheel, Decoder("both", False), TOLERANCE).position


def test_half_moon_cam_tells_no_phase_to_who_sees_both_edges_and_no_level():
    """Its edges are half a turn apart, so unlabelled edges look the same in both turns."""
    wheel = library.find("60-minus-2-half-moon-cam")
    assert certainty(wheel, Decoder("both", False), TOLERANCE).phase is None
    assert certainty(wheel, Decoder("both", True), TOLERANCE).phase
    assert certainty(wheel, Decoder("rise", False), TOLERANCE).phase


def test_tolerance_hides_what_is_only_a_little_uneven():
    wheel = crank("{spans: [10, 80, 10, 80, 10, 90, 10, 70]}", 360)
    decoder = Decoder("rise", False)
    assert certainty(wheel, decoder, Fraction(1, 10)).position
    assert certainty(wheel, decoder, Fraction(1, 2)).position is None


def test_ratio_exactly_at_the_tolerance_is_not_told_apart():
    wheel = crank("{spans: [10, 170, 20, 160]}", 360)  # 20/10 and 10/20 from fall to fall: 190, 170
    edge = Fraction(190, 170) ** 2 - 1
    assert certainty(wheel, Decoder("fall", False), edge).position is None
    assert certainty(wheel, Decoder("fall", False), edge - Fraction(1, 10**6)).position


def test_two_stroke_phase_is_its_position():
    found = certainty(crank("{pitches: 24, missing: 1}", 360), DECODERS[0], TOLERANCE)
    assert found.position == found.phase


@pytest.mark.parametrize(("edges", "teeth"), [("rise", 35), ("fall", 35), ("both", 36)])
def test_teeth_are_counted_once_whichever_edge_shows_them(edges: str, teeth: int):
    """Who sees both edges may start within a tooth, whose end alone is then one more."""
    found = certainty(crank("{pitches: 36, missing: 1}"), Decoder(edges, False), TOLERANCE)
    assert found.position.teeth == teeth

"""Wheels held against the facts of the trade and a general-purpose library.

"Common practice, no source" marks what every practitioner knows and no standard states.
"""

from fractions import Fraction
from math import lcm

import numpy as np
import pytest

from edgewheel.wheel import library
from edgewheel.wheel.certainty import Decoder, certainty, events_of, symmetry
from edgewheel.wheel.check import check
from edgewheel.wheel.limits import shortest_stretches
from edgewheel.wheel.loader import parse_wheel
from edgewheel.wheel.model import Track, Wheel
from edgewheel.wheel.pins import edge_periods, pin_edges, reads_level
from edgewheel.wheel.ratios import period_ratios
from edgewheel.wheel.safe import safe_edge
from library_wheels import entries

SIXTY = library.find("60-minus-2-half-moon-cam")
CRANK = SIXTY.track("crank")


def wheel(teeth: str, cam: str = "") -> Wheel:
    text = f"format: 1\nname: t\nperiod: 720\ntracks:\n  c: {{shaft: crank, teeth: {teeth}}}\n"
    return parse_wheel(text + cam, "t.yaml")


def test_sixty_minus_two_has_58_real_teeth():
    """Common practice, no source: the first number counts pitches, the second those left out."""
    assert len(CRANK.teeth) == 58


@pytest.mark.parametrize("edge", ["rise", "fall"])
def test_gap_of_two_missing_teeth_spans_three_pitches(edge):
    """Common practice, no source: a pitch is 360/60 = 6 degrees, rise to rise or fall to fall."""
    periods = edge_periods(pin_edges(CRANK, 360, edge), 360)
    assert sorted(periods) == [6] * 57 + [18]
    assert max(ratio.ratio for ratio in period_ratios(CRANK, 360, edge)) == 3


def test_rise_and_fall_of_a_tooth_are_one_tooth_width_apart():
    """Common practice, no source: the wrong edge shifts a measured angle by that width."""
    assert {shift for _, shift in safe_edge(CRANK, 720).shifts} == {3}


@pytest.mark.parametrize("rpm", [60, 1000, 6000])
def test_sixty_pitch_wheel_gives_as_many_hertz_as_rpm(rpm: int):
    """Arithmetic: 1 rpm is 6 degrees a second; so 60 pitches a turn pass at n Hz at n rpm."""
    (tooth, space) = shortest_stretches(wheel("{pitches: 60}").tracks[0], 720)
    pitch_s = (tooth.us_at(Fraction(rpm)) + space.us_at(Fraction(rpm))) / 1_000_000
    assert 1 / pitch_s == rpm


@pytest.mark.parametrize("teeth", [1, 2, 4, 12, 36, 60, 135])
def test_even_teeth_give_speed_but_position_only_if_there_is_one(teeth: int):
    """Common practice, no source; one tooth a turn is itself the one irregularity."""
    found = check(wheel(f"{{pitches: {teeth}}}"))
    assert found.speed_from == "every period"
    assert found.gives_position is (teeth == 1)
    assert not found.gives_phase


@pytest.mark.parametrize(
    "teeth",
    [
        "{pitches: 12, missing: 1}",
        "{pitches: 12, width: 1/4, extra: [[345, 350]]}",
        "{pitches: 12, missing: 1, width: 1/3, extra: [[330, 350]]}",
        "{pitches: 60, missing: 2}",
    ],
    ids=["missing", "added", "wide", "sixty"],
)
def test_one_irregularity_a_crank_turn_gives_position_but_never_the_phase(teeth: str):
    """Common practice, no source: the crank looks the same in both turns of a cycle."""
    found = check(wheel(teeth))
    assert (found.gives_position, found.gives_phase) == (True, False)
    assert found.alike_deg == (360,)


def test_a_second_track_on_the_cam_gives_what_even_teeth_lack():
    """Common practice, no source."""
    found = check(wheel("{pitches: 12}", "  cam: {shaft: cam, teeth: [[100, 110]]}\n"))
    assert (found.gives_position, found.gives_phase) == (True, True)


def test_crank_alone_is_sure_within_a_turn_and_its_gap():
    """Common practice, no source: one full turn shows the gap, wherever the engine stopped."""
    found = certainty(SIXTY, Decoder("rise", True), Fraction(1, 4))
    assert found.position is not None
    assert found.position.degrees <= 360 + 18


def sampled(track: Track, period: int, grid: int) -> np.ndarray:
    """The level (+1 or -1) in the middle of each of `grid` equal steps over the period."""
    levels = np.empty(grid)
    edges = pin_edges(track, period)
    levels[:] = 1 if edges[-1].rises else -1
    for edge in edges:
        levels[int(edge.angle / period * grid) :] = 1 if edge.rises else -1
    return levels


def autocorrelation(levels: np.ndarray) -> np.ndarray:
    spectrum = np.fft.rfft(levels)
    return np.fft.irfft(spectrum * spectrum.conj(), len(levels)) / len(levels)


WITH_LEVELS = [e for e in entries() if all(map(reads_level, e.wheel.tracks))]
"""A VR or direction sensor has no level to sample."""


@pytest.mark.parametrize("entry", WITH_LEVELS, ids=lambda entry: entry.stem)
def test_rotations_that_look_alike_are_where_the_autocorrelation_is_one(entry: library.Entry):
    """Circular autocorrelation by numpy's FFT: 1 at a shift only if every sample is the same."""
    one = entry.wheel
    edges = [edge.angle for track in one.tracks for edge in pin_edges(track, one.period)]
    grid = one.period * lcm(*(angle.denominator for angle in edges))
    alike = np.min([autocorrelation(sampled(t, one.period, grid)) for t in one.tracks], axis=0)
    shifts = np.flatnonzero(alike > 1 - 1e-9)[1:]
    found = symmetry(events_of(one, Decoder("both", True)), one.period)
    expected = [found * n for n in range(1, int(one.period / found))]
    assert [Fraction(int(shift) * one.period, grid) for shift in shifts] == expected

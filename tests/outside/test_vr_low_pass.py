"""The simulated controller's low-pass against the voltage itself, filtered by scipy.

The voltage is what a board plays of the wheels; scipy.signal.lfilter integrates v' = (u - v) / RC
step by step, exactly for straight pieces between samples a thousandth of a half-wave apart.
"""

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from edgewheel.bench.voltages import shape
from edgewheel.controller.sim.low_pass import Crossing, LowPass

HZ = 1_000_000_000
STEPS = 1000
"""Samples in half a pitch."""
TURNS = 3


def half_waves(pitches, missing):
    """Of a turn that begins at the last tooth's centre: pitches long, 17 points of voltage."""
    for to_next in [1 + missing] + [1] * (pitches - missing - 1):
        points = np.array(list(shape(to_next / 2, 0.25, 0.25))) / 255
        yield to_next / 2, -points
        yield to_next / 2, points[::-1]


def filtered(wheel, pitch_s, constant_s):
    """How late each tooth of the second turn is, in seconds, and how high the voltage before it."""
    pieces = [
        np.interp(np.arange(2 * STEPS * long) / (2 * STEPS * long), np.linspace(0, 1, 17), u)
        for long, u in wheel
    ]
    step_s = pitch_s / 2 / STEPS
    decay = math.exp(-step_s / constant_s)
    kept = constant_s / step_s * (1 - decay)
    v = lfilter([1 - kept, kept - decay], [1, -decay], np.concatenate(pieces * TURNS))
    falls = np.flatnonzero((v[:-1] >= 0) & (v[1:] < 0))
    centres = of_second_turn(np.cumsum([len(piece) for piece in pieces * TURNS])[1::2])
    at = falls[np.searchsorted(falls, centres)]
    late_s = (at - centres + v[at] / (v[at] - v[at + 1])) * step_s
    return late_s, np.array([v[i - 2 * STEPS : i].max() for i in at])


def modelled(wheel, pitch_s, constant_s):
    """The same from the model."""
    low_pass = LowPass(constant_s * HZ)
    ends = [round(at * pitch_s * HZ) for at in np.cumsum([long for long, _ in wheel * TURNS])]
    for number, end in enumerate(ends):
        low_pass.send(Crossing(end, 1 - number % 2, 1.0))
    found = of_second_turn(low_pass.receive(2 * ends[-1])[1::2])
    late = [one.tick - end for one, end in zip(found, of_second_turn(ends[1::2]), strict=True)]
    return np.array(late) / HZ, np.array([one.height_mv for one in found])


def of_second_turn(of_teeth):
    return of_teeth[len(of_teeth) // TURNS : 2 * len(of_teeth) // TURNS]


@pytest.mark.parametrize(("pitches", "missing"), [(36, 1), (60, 2)])
@pytest.mark.parametrize(
    ("constant_us", "first_deg", "last_deg"), [(5, 0.01, 0.015), (20, 0.02, 0.05), (50, 0.27, 0.09)]
)
@pytest.mark.parametrize("rpm", [200, 1000, 4000, 8000])
def test_crossings_and_heights_are_those_of_the_filtered_bells(
    pitches, missing, constant_us, first_deg, last_deg, rpm
):
    """The half-sine comes a little early and a little high; the tooth before a gap is later in
    truth, the first behind one sooner (or, where little passes, later) and higher."""
    wheel, pitch_s = list(half_waves(pitches, missing)), 60 / rpm / pitches
    late_s, heights = filtered(wheel, pitch_s, constant_us / 1e6)
    model_s, model_heights = modelled(wheel, pitch_s, constant_us / 1e6)
    off_deg = (model_s - late_s) * 6 * rpm
    share = model_heights / heights
    usual = slice(4, -1)
    assert off_deg[usual] == pytest.approx(-0.0025, abs=0.0026)
    assert share[usual] == pytest.approx(1.003, abs=0.003)
    assert off_deg[0] == pytest.approx(0, abs=first_deg)
    assert -last_deg < off_deg[-1] <= 0
    assert 0.6 < share[0] < 1.004

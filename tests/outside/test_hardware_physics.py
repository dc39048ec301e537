"""The simulated stages against formulas of physics and of handbooks; all citations from memory."""

from __future__ import annotations

import math

import numpy as np
import pytest

from make import ROOT
from simulate import hall_edges
from simulate.bench import first_crossing
from simulate.ngspice import run
from simulate.reluctor_waves import play, played, slope_and_flux
from stages.hall import hall
from stages.reluctor import reluctor


def test_ngspice_charges_a_capacitor_as_the_handbooks_say() -> None:
    """50 % after 0.693 RC, 10 to 90 % in 2.197 RC: Horowitz and Hill, The Art of Electronics, 3rd
    edition, section 1.4."""
    found = run("V1 in 0 PULSE(0 1 1u 1p 1p 1 2)\nR1 in a 1k\nC1 a 0 1n\n", "tran 5n 12u 0 5n")
    t = [first_crossing(found.time, found["v(a)"], x, True, 0) for x in (0.1, 0.5, 0.9)]
    assert t[1] - 1e-6 == pytest.approx(math.log(2) * 1e-6, rel=0.01)
    assert t[2] - t[0] == pytest.approx(math.log(9) * 1e-6, rel=0.01)


def test_hall_rise_is_between_the_bare_rc_and_that_with_the_clamp() -> None:
    """The same formula: 1 nF alone is the least, the clamp's 600 pF at 0 V the most that adds."""
    waves = hall_edges.waves(hall(), 12, 4700, "1 nF")
    line = waves["v(out)"]
    low, high = line[(waves.time > 50e-6) & (waves.time < 60e-6)].mean(), line[0]
    times = [
        first_crossing(waves.time, line, low + part * (high - low), True, 65e-6)
        for part in (0.1, 0.9)
    ]
    rise = times[1] - times[0]
    assert math.log(9) * 4700 * 1e-9 < rise < math.log(9) * 4700 * 1.9e-9


def test_the_sensor_obeys_faraday() -> None:
    """The voltage is the flux's slope: proportional to speed, zero at the flux's extremum, no area
    over a period. Griffiths, Introduction to Electrodynamics, 4th edition, section 7.2."""
    places = np.linspace(0, 12, 120_001)
    slope, flux = slope_and_flux(places)
    assert np.abs(np.gradient(flux, places)[1:-1] - slope[1:-1]).max() < 1e-6
    assert abs(np.trapezoid(slope, places)) < 1e-6
    tooth = np.abs(places - 2) < 0.3
    assert places[tooth][flux[tooth].argmax()] == pytest.approx(2, abs=1e-4)


def test_the_flux_in_the_transformer() -> None:
    """As above: the core takes the voltage's integral, which speed does not change; V / (2 pi f)
    of a sine. The sensor's wave is one within a tenth."""
    _, flux = slope_and_flux(np.linspace(0, 2, 2001))
    assert np.ptp(flux) / 2 == pytest.approx(1 / (2 * math.pi), rel=0.1)
    seconds = 60 / (2 * math.pi)
    guide = (ROOT / "README.md").read_text()
    assert f"bears {2.5 * math.sqrt(2) / (2 * math.pi * 50) * 1e3:.0f} mVs" in guide
    assert f"some {seconds:.1f} s times" in guide
    assert f"{seconds * 2 / 60:.1f} mVs at 2 mV and 60 teeth" in guide
    assert f"{seconds * 20 / 24:.1f} mVs, of 20 mV and 24 teeth" in guide


def test_the_vr_output_doubles_with_the_speed() -> None:
    """As above; and it has no mean, since a transformer and a coil pass none."""
    slow, fast = (played(play(reluctor(), rpm), rpm, "VR") for rpm in (1000, 2000))
    assert fast.amplitude / slow.amplitude == pytest.approx(2, rel=0.05)


def test_the_low_corner_of_the_transformer() -> None:
    """R / (2 pi L): Langford-Smith, Radiotron Designer's Handbook, 4th edition, chapter 5."""
    deck = "V1 in 0 DC 0 AC 1\nR1 in a 22\nX1 a 0 s 0 LINE11\nRl s 0 1meg\n"
    found = run(deck, "ac dec 100 0.5 200")
    corner = (22 + 50) / (2 * math.pi * 2)
    gain = np.abs(found["v(s)"])
    hertz = found["frequency"].real
    assert np.interp(1 / math.sqrt(2), gain[:200], hertz[:200]) == pytest.approx(corner, rel=0.03)


def test_the_model_of_a_fuse_melts_in_the_time_of_a_quick_one() -> None:
    """IEC 60127-2, standard sheet 1 (quick-acting, F), from memory, of 3 A: 1.5 times its current
    for an hour and more, 4 times for 10 to 300 ms, 10 times for 20 ms at most.
    """
    for times, least, most in ((1.5, 9, 11), (4, 10e-3, 300e-3), (10, 1e-3, 20e-3)):
        circuit = f"V1 source 0 50\nR1 source a {50 / 3 / times}\nXfuse a 0 FUSE AMPS=3\n"
        found = run(circuit, "tran 1m 10 0 5m", "v(a)")
        melted = found.time[found["v(a)"] > 40].min(initial=10)
        assert least <= melted <= most, times

"""Captures and learning against files, signals and values that nobody here made up."""

from fractions import Fraction

import numpy as np
import pytest
from scipy.io import wavfile
from scipy.signal import chirp, square
from vcdvcd import VCDVCD

from captures import save_vcd, table
from edgewheel.edges.captures.options import ReadOptions
from edgewheel.edges.captures.read import read_capture
from edgewheel.learn.learn import learn

# The value change dump that a four-state simulator writes for a 2-bit counter: identifier codes,
# $dumpvars, x values and a vector, all as IEEE 1364-2005, clause 18.2, defines them.
DUMP = """$date today $end
$version hand-written after IEEE 1364-2005 18.2 $end
$timescale 100 ps $end
$scope module bench $end
$var reg 1 ! clk $end
$scope module dut $end
$var reg 2 "# count [1:0] $end
$upscope $end
$upscope $end
$enddefinitions $end
#0
$dumpvars
0!
bx "#
$end
#50
1!
b0 "#
#100
0!
#150
1!
b1 "#
#200
0!
#250
1!
b10 "#
"""


def test_a_dump_reads_as_an_independent_parser_reads_it(tmp_path):
    """PyPI vcdvcd, and the grammar of IEEE 1364-2005, clause 18."""
    path = tmp_path / "a.vcd"
    path.write_text(DUMP)
    capture = read_capture(path, ReadOptions(columns=("clk",)))
    theirs = VCDVCD(vcd_string=DUMP)["bench.clk"].tv
    expected = [(round(time / 10), int(level)) for time, level in theirs[1:]]
    found = list(zip(capture.edges.ticks.tolist(), capture.edges.level.tolist(), strict=True))
    assert found == expected
    assert read_capture(path).header.tracks == ("clk", "count_0", "count_1")


def test_a_chirp_written_by_scipy_crosses_zero_where_its_phase_says(tmp_path):
    """scipy.signal.chirp through scipy.io.wavfile: phase 2 pi (f0 t + k t^2 / 2)."""
    rate, seconds, low, high = 48_000, 4.0, 60.0, 300.0
    times = np.arange(int(rate * seconds)) / rate
    amplitude = (low + (high - low) * times / seconds) / high
    samples = amplitude * chirp(times, low, seconds, high, phi=-90)
    path = tmp_path / "vr.wav"
    wavfile.write(path, rate, (samples * 30_000).astype(np.int16))
    capture = read_capture(path, ReadOptions(signal="vr"))
    falls = capture.edges.ticks[capture.edges.level == 0] / capture.header.tick_hz
    k = (high - low) / seconds
    cycles = np.arange(len(falls)) + 0.5
    exact = (np.sqrt(low**2 + 2 * k * cycles) - low) / k
    np.testing.assert_allclose(falls, exact, atol=2e-6)


def test_a_square_wave_written_by_numpy_has_its_period_and_duty(tmp_path):
    """scipy.signal.square, numpy.savetxt."""
    times = np.arange(20_000) / 1e6
    volt = 2.5 + 2.5 * square(2 * np.pi * 1000 * times + 0.1, duty=0.3)
    path = tmp_path / "a.csv"
    np.savetxt(path, np.stack([times, volt], 1), delimiter=";", header="time [s];hall", comments="")
    capture = read_capture(path)
    rises = capture.edges.ticks[capture.edges.level == 1]
    assert set(np.diff(rises).tolist()) == {1_000_000}
    falls = capture.edges.ticks[capture.edges.level == 0]
    highs = falls[np.searchsorted(falls, rises[:-1])] - rises[:-1]
    assert highs.mean() / 1e6 == pytest.approx(0.3, abs=0.002)


def test_sixty_minus_two_has_58_teeth_and_a_gap_of_three_pitches(tmp_path):
    """Common practice, no source: 60-2 is 58 teeth, the gap three pitches from rise to rise, the
    tooth frequency of 60 places at n rpm n hertz.
    """
    learned = learn(read_capture(save_vcd(tmp_path / "a.vcd", *table("60-minus-2", "steady"))))
    teeth = learned.best.wheel.tracks[0].teeth
    assert len(teeth) == 58
    assert teeth[0].begin + 360 - teeth[-1].begin == 3 * Fraction(6)
    assert learned.speed[5][1] == pytest.approx(1000, rel=1e-4)

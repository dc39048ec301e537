"""Lists of tooth periods, in any unit, from counters that wrap, one edge only."""

from fractions import Fraction

import numpy as np
import pytest

from edgewheel.edges.captures.options import ReadOptions
from edgewheel.edges.captures.read import read_capture
from edgewheel.errors import FileError

PERIODS_US = ([1013] * 10 + [2029]) * 8


def listed(tmp_path, values, header: str = "", form: str = "{}"):
    path = tmp_path / "log.txt"
    path.write_text(
        (f"{header}\n" if header else "") + "".join(form.format(v) + "\n" for v in values)
    )
    return path


def real_edges(capture) -> list[int]:
    edges = capture.edges
    return edges.ticks[edges.level == capture.real_level].tolist()


@pytest.mark.parametrize(
    ("scale", "header"), [(1, ""), (1e-3, ""), (1e-6, ""), (1e-3, "period [ms]"), (1e3, "dt_ns")]
)
def test_the_unit_is_found_or_stands_in_the_header(scale, header, tmp_path):
    path = listed(tmp_path, [f"{p * scale:.9g}" for p in PERIODS_US], header)
    capture = read_capture(path)
    assert np.diff(real_edges(capture))[:11].tolist() == [1_013_000] * 10 + [2_029_000]
    assert "unit" in capture.found[1]


def test_the_unit_can_be_set(tmp_path):
    capture = read_capture(listed(tmp_path, PERIODS_US), ReadOptions(unit_s=Fraction(1, 10**7)))
    assert np.diff(real_edges(capture))[0] == 101_300


def test_widths_are_drawn_and_said_to_be(tmp_path):
    capture = read_capture(listed(tmp_path, PERIODS_US))
    assert capture.widthless == ("crank",)
    assert "widths are not known" in " ".join(capture.found)
    assert len(capture.edges) == 2 * (len(PERIODS_US) + 1) - 1


def test_falling_edges_can_be_meant(tmp_path):
    capture = read_capture(listed(tmp_path, PERIODS_US), ReadOptions(edge="fall"))
    assert capture.real_level == 0
    assert capture.edges.level[0] == 0


@pytest.mark.parametrize("bits", [16, 24])
def test_a_counter_that_wraps_is_unwrapped(bits, tmp_path):
    counts = (np.cumsum(PERIODS_US * 40) * (1 if bits == 16 else 8)) % 2**bits
    capture = read_capture(listed(tmp_path, counts.tolist()))
    scale = 1 if bits == 16 else 8
    steps = np.diff(real_edges(capture)) // 1000
    assert set(steps.tolist()) == {1013 * scale, 2029 * scale}
    assert f"counter of {bits} bits" in capture.found[1]


def test_intervals_of_a_wrapped_counter_are_mended(tmp_path):
    values = [p if n % 9 else p - 65536 for n, p in enumerate(PERIODS_US)]
    capture = read_capture(listed(tmp_path, values))
    assert set(np.diff(real_edges(capture)).tolist()) == {1_013_000, 2_029_000}


def test_a_column_named_period_is_found_beside_a_number(tmp_path):
    path = tmp_path / "log.csv"
    lines = [f"{n},{p}" for n, p in enumerate(PERIODS_US)]
    path.write_text("tooth,period_us\n" + "\n".join(lines) + "\n")
    assert np.diff(real_edges(read_capture(path)))[0] == 1_013_000


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ([], "empty"),
        ([100, 200], "only 2 numbers"),
        ([1000] * 50, "every number in it is 1000"),
        ([1000, 1000, 0, 1000, 2000], "period of 0 cannot be"),
        ([2, 2, 2, 4] * 20, "clock is too coarse.*(?s:.)*at least 20 times as fast"),
    ],
)
def test_lists_that_cannot_be_used(values, message, tmp_path):
    with pytest.raises(FileError, match=message):
        read_capture(listed(tmp_path, values))


def test_an_engine_that_slows_down_evenly_is_no_list_of_times(tmp_path):
    values = np.linspace(800, 2400, 700).round().astype(int)
    capture = read_capture(listed(tmp_path, values.tolist()))
    assert "700 intervals" in capture.found[1]


def test_times_of_edges_are_taken_as_such(tmp_path):
    capture = read_capture(listed(tmp_path, np.cumsum(PERIODS_US).tolist()))
    assert "times of edges" in capture.found[1]
    assert set(np.diff(real_edges(capture)).tolist()) == {1_013_000, 2_029_000}


@pytest.mark.parametrize(("end", "count"), [("1", 200), ("1\n", 201), ("1000", 201)])
def test_a_number_torn_by_the_end_of_the_file_is_left_out_and_that_is_said(end, count, tmp_path):
    path = tmp_path / "log.txt"
    path.write_text("\n".join(["1000", "1010"] * 100) + "\n" + end)
    capture = read_capture(path)
    assert (capture.edges.level == 1).sum() == count + 1
    assert any("cut off in the middle" in words for words in capture.found) == (count == 200)

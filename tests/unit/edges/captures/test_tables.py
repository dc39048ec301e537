"""Text files of samples and edges: what they are is found and said, and can be set."""

from fractions import Fraction

import numpy as np
import pytest

from edgewheel.edges.captures.capture import write_capture
from edgewheel.edges.captures.options import ReadOptions, unit_seconds
from edgewheel.edges.captures.read import read_capture
from edgewheel.edges.export import write_csv
from edgewheel.edges.table import EdgeChunk, EdgeHeader
from edgewheel.errors import FileError, UsageError

SQUARE = [0, 0, 0, 0, 0, 1, 1, 1, 1, 1] * 20


def written(tmp_path, text: str, name: str = "a.csv"):
    path = tmp_path / name
    path.write_text(text)
    return path


def ticks_of(capture, track: int = 0) -> list[int]:
    return capture.edges.ticks[capture.edges.track == track].tolist()


def rows(delimiter: str = ",", header: str = "", step: str = "0.001", decimal: str = ".") -> str:
    lines = [header] if header else []
    for number, level in enumerate(SQUARE):
        time = str(Fraction(step) * number) if "/" in step else f"{float(step) * number:.6f}"
        lines.append(f"{time.replace('.', decimal)}{delimiter}{level}")
    return "\n".join(lines) + "\n"


def test_a_comma_header_and_seconds_are_found_and_said(tmp_path):
    capture = read_capture(written(tmp_path, rows(header="time,crank")))
    assert capture.header.tracks == ("crank",)
    assert ticks_of(capture)[:3] == [5_000_000, 10_000_000, 15_000_000]
    assert capture.edges.level[:3].tolist() == [1, 0, 1]
    said = " ".join(capture.found)
    assert "comma" in said
    assert "header time, crank" in said
    assert "unit s" in said
    assert "two levels" in said


@pytest.mark.parametrize("delimiter", [";", "\t", "|", " "])
def test_other_delimiters_are_found(delimiter, tmp_path):
    capture = read_capture(written(tmp_path, rows(delimiter)))
    assert ticks_of(capture)[:2] == [5_000_000, 10_000_000]


def test_decimal_commas_are_read(tmp_path):
    capture = read_capture(written(tmp_path, rows(";", "time;crank", decimal=",")))
    assert ticks_of(capture)[:2] == [5_000_000, 10_000_000]
    assert "decimal commas" in capture.found[0]
    periods = written(tmp_path, "1,227\n2,451\n1,226\n1,225\n")
    capture = read_capture(periods, ReadOptions(delimiter=";", unit_s=Fraction(1, 1000)))
    assert ticks_of(capture)[::2] == [0, 1_227_000, 3_678_000, 4_904_000, 6_129_000]


@pytest.mark.parametrize(
    ("header", "first"), [("t [ms],a", 5_000), ("Time (us),a", 5), ("time_s,a", 5_000_000)]
)
def test_the_unit_stands_in_the_header(header, first, tmp_path):
    capture = read_capture(written(tmp_path, rows(header=header)))
    assert ticks_of(capture)[0] == first


def test_everything_found_can_be_set(tmp_path):
    text = "a note\nstamp:7:volt\n" + "".join(
        f"{n}:9:{5 * level}\n" for n, level in enumerate(SQUARE)
    )
    options = ReadOptions(
        delimiter=":", time="stamp", columns=("volt",), unit_s=unit_seconds("10us"), low=1, high=3
    )
    capture = read_capture(written(tmp_path, text), options)
    assert capture.header.tracks == ("volt",)
    assert ticks_of(capture)[0] == pytest.approx(50_000, abs=10_000)


def test_samples_without_a_time_take_a_rate(tmp_path):
    text = "crank\n" + "\n".join(map(str, SQUARE)) + "\n"
    capture = read_capture(written(tmp_path, text), ReadOptions(rate_hz=Fraction(1000)))
    assert ticks_of(capture)[:2] == [5_000_000, 10_000_000]


def test_several_columns_become_several_tracks(tmp_path):
    lines = [f"{n / 1000},{level},{1 - level},7" for n, level in enumerate(SQUARE)]
    text = "Time,Channel 0,Channel 1,Channel 2\n" + "\n".join(lines)
    capture = read_capture(written(tmp_path, text))
    assert capture.header.tracks == ("channel_0", "channel_1")
    assert ticks_of(capture, 0) == ticks_of(capture, 1)


def test_a_column_may_change_long_behind_the_first_rows(tmp_path):
    """A cam's tooth in a capture whose first 3,000 rows are of the crank alone."""
    rows = (f"{n},{n // 8 % 2},{int(3000 <= n < 3050)},7\n" for n in range(4000))
    capture = read_capture(written(tmp_path, "time_us,crank,cam,spare\n" + "".join(rows)))
    assert capture.header.tracks == ("crank", "cam")
    assert ticks_of(capture, 1) == [3_000_000, 3_050_000]


def test_rows_of_changes_are_edges_at_their_own_times(tmp_path):
    capture = read_capture(written(tmp_path, "time,d0\n0,0\n0.0013,1\n0.0021,0\n0.0057,1\n"))
    assert ticks_of(capture) == [1_300_000, 2_100_000, 5_700_000]


def test_rows_of_changes_at_a_steady_speed_are_no_samples(tmp_path):
    """35 teeth of half a pitch and a gap: all but a few rows are evenly apart."""
    teeth = [36 * turn + tooth for turn in range(20) for tooth in range(1, 36)]
    edges = "".join(f"{n}e-3,1\n{n}.5e-3,0\n" for n in teeth)
    capture = read_capture(written(tmp_path, f"time,d0\n0,0\n{edges}720e-3,0\n"))
    assert len(capture.edges) == 2 * 35 * 20
    assert ticks_of(capture)[:2] == [1_000_000, 1_500_000]
    assert capture.resolution_s == 0
    assert capture.found[-1] == "a row for each change"


def test_rows_of_one_edge_each_name_their_signal(tmp_path):
    text = "time_us,signal,level\n10,crank,1\n12,cam,1\n20,crank,0\n30,crank,1\n31,cam,0\n"
    capture = read_capture(written(tmp_path, text))
    assert capture.header.tracks == ("crank", "cam")
    assert capture.edges.level.tolist() == [1, 1, 0, 1, 0]
    assert np.diff(capture.edges.ticks).tolist() == [2_000, 8_000, 10_000, 1_000]


def test_our_own_edge_table_comes_back(tmp_path):
    ticks = np.array([10, 30, 60, 61], np.int64)
    chunk = EdgeChunk(ticks, np.array([0, 1, 0, 1], np.uint8), np.array([1, 0, 0, 1], np.uint8))
    header = EdgeHeader(16_000_000, ("crank", "cam"), (0, 1))
    plain = tmp_path / "plain.csv"
    with plain.open("w") as file:
        write_csv(file, header, [chunk])
    capture = read_capture(plain, ReadOptions(unit_s=Fraction(1, 16_000_000)))
    assert capture.header == header
    assert capture.edges.ticks.tolist() == ticks.tolist()
    again = tmp_path / "again.csv"
    with again.open("w") as file:
        write_capture(file, capture)
    assert read_capture(again).header == header


def test_analog_samples_cross_a_threshold_with_hysteresis(tmp_path):
    time = np.arange(4000) / 1000
    volt = 2.5 + 2.5 * np.sin(2 * np.pi * 5 * time) + 0.2 * np.sin(2 * np.pi * 97 * time)
    path = tmp_path / "a.csv"
    np.savetxt(path, np.stack([time, volt], axis=1), delimiter=",", header="time,volt", comments="")
    capture = read_capture(path, ReadOptions(low=2.0, high=3.0))
    assert len(capture.edges) == 39  # It begins between the thresholds, so the first rise is none.
    rises = capture.edges.ticks[capture.edges.level == 1] / 1e9
    expected = np.arange(1, 20) / 5 + np.arcsin(0.2) / (2 * np.pi * 5)
    np.testing.assert_allclose(rises, expected, atol=0.003)


def test_a_filter_takes_out_short_pulses(tmp_path):
    text = "time,d0\n0,0\n0.001,1\n0.0010005,0\n0.001001,1\n0.002,0\n0.003,1\n0.004,0\n"
    capture = read_capture(written(tmp_path, text), ReadOptions(filter_s=Fraction(1, 10**5)))
    assert np.diff(ticks_of(capture)).tolist()[-1] == 1_000_000
    assert len(capture.edges) == 4
    assert "1 pulses shorter than 10 us" in capture.found[-1]


@pytest.mark.parametrize("head", ["tick,track,level\n", "time_us,signal,level\n"])
def test_a_filter_takes_out_pulses_and_no_rows_that_say_a_level_again(head, tmp_path):
    teeth = "".join(f"{n}000,a,1\n{n}003,a,1\n{n}400,a,0\n{n}700,a,1\n{n}702,a,0\n"
                    for n in range(1, 50))  # fmt: skip
    options = ReadOptions(filter_s=Fraction(5, 10**6), unit_s=Fraction(1, 10**6))
    capture = read_capture(written(tmp_path, head + teeth), options)
    assert len(capture.edges) == 2 * 49
    assert "49 pulses shorter than 5 us" in capture.found[-1]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "the file is empty"),
        ("   \n\n", "the file is empty"),
        ("hello\nworld\n", "no line in it begins with a number"),
        ("time,a\n0,1\n1,1\n2,1\n3,1\n", "'a' is constant at 1"),
        (rows() + "0.3", "cut off in its last line: '0.3' has 1 of 2 fields"),
        (rows() + "0.1,1\n", "clock runs backwards"),
        ("time_us,crank\n0,0\n100,1\n50,0\n", r"csv:4: its clock runs backwards: 50 comes after"),
        ("time_us,crank\n9,0\n\n# cut\n5,1\n4,0\n", r"csv:5: its clock runs backwards: 5 comes"),
        (rows() + "0.3,high\n0.4,0\n", "'high' in column col_2 is not a number"),
        ("a,b\n5,1\n4,0\n5,1\n3,1\n", "no column tells the time"),
        ("ms\n1,227\n2,451\n1,226\n1,22", r"csv:2: '1,227' is a number with a decimal comma, or"),
        ("1,227\n1,225\n1,226\n1,226\n", r"For decimal commas say --delimiter ';'; for two"),
    ],
)
def test_bad_files_are_told_what_was_found(text, message, tmp_path):
    with pytest.raises(FileError, match=message):
        read_capture(written(tmp_path, text))


def test_a_missing_column_names_those_there_are(tmp_path):
    with pytest.raises(FileError, match=r"no column 'cam'\n  Choose from time, crank"):
        read_capture(written(tmp_path, rows(header="time,crank")), ReadOptions(columns=("cam",)))


def test_too_few_samples_are_refused_with_the_rate_that_would_do(tmp_path):
    lines = [f"{n / 1000},{n // 2 % 2}" for n in range(400)]
    with pytest.raises(FileError, match=r"at 1,000 samples a second.*2.0 samples long(?s:.)*2,500"):
        read_capture(written(tmp_path, "time,crank\n" + "\n".join(lines)))


def test_a_file_that_is_not_there_or_not_text(tmp_path):
    with pytest.raises(FileError, match="no such file"):
        read_capture(tmp_path / "none.csv")
    path = tmp_path / "a.bin"
    path.write_bytes(bytes(range(128, 256)) * 8)
    with pytest.raises(FileError, match="neither text nor a VCD or WAV"):
        read_capture(path)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("us", Fraction(1, 10**6)),
        ("0.5 us", Fraction(1, 2 * 10**6)),
        ("4MHz", Fraction(1, 4_000_000)),
    ],
)
def test_units_are_units_of_time_or_the_clock_of_a_counter(text, seconds):
    assert unit_seconds(text) == seconds


@pytest.mark.parametrize("text", ["", "furlong", "MHz", "-1us", "1/0us"])
def test_other_units_are_refused(text):
    with pytest.raises(UsageError, match="not a unit of time"):
        unit_seconds(text)

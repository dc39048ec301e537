"""Sound files and value change dumps."""

import wave

import numpy as np
import pytest

from captures import save_vcd, save_wav, table
from edgewheel.edges.captures.crossings import LevelDetector, VrDetector
from edgewheel.edges.captures.options import ReadOptions
from edgewheel.edges.captures.read import read_capture
from edgewheel.errors import FileError


def dump(tmp_path, body: str, head: str = "$timescale 1 us $end $scope module top $end ", end=True):
    path = tmp_path / "a.vcd"
    path.write_text(head + ("$upscope $end $enddefinitions $end\n" if end else "") + body)
    return path


VAR = "$timescale 10 us $end $scope module top $end $var wire 1 ! crank $end "


def test_a_table_comes_back_from_vcd_edge_for_edge(tmp_path):
    header, edges = table("60-minus-2-half-moon-cam", "up")
    capture = read_capture(save_vcd(tmp_path / "a.vcd", header, edges))
    assert capture.header.tracks == header.tracks
    assert capture.edges.ticks.tolist() == edges.ticks[edges.ticks > 0].tolist()
    assert capture.edges.level.tolist() == edges.level[edges.ticks > 0].tolist()


def test_scopes_vectors_unknowns_and_comments_are_understood(tmp_path):
    head = VAR + "$var reg 2 # bus [1:0] $end "
    body = "#0 $dumpvars 0! b00 # $end $comment 1! $end\n"
    body += "#5 1! b10 #\n#7 x!\n#9 0! b01 #\n#12 1! b11 #\n"
    capture = read_capture(dump(tmp_path, body, head))
    assert capture.header.tracks == ("crank", "bus_0", "bus_1")
    assert capture.header.tick_hz == 100_000
    edges = capture.edges
    columns = (edges.ticks.tolist(), edges.track.tolist(), edges.level.tolist())
    rows = zip(*columns, strict=True)
    assert list(rows) == [
        (5, 0, 1), (5, 2, 1), (9, 0, 0), (9, 1, 1), (9, 2, 0), (12, 0, 1), (12, 2, 1),
    ]  # fmt: skip
    assert "1 changes to an unknown level" in " ".join(capture.found)


def test_a_real_is_read_by_level(tmp_path):
    head = "$timescale 1 us $end $var real 64 % volt $end "
    body = "".join(f"#{n * 10} r{5.0 * (n // 5 % 2) + 0.01 * (n % 3)} %\n" for n in range(100))
    capture = read_capture(dump(tmp_path, body, head))
    assert len(capture.edges) == 19
    assert "level between" in " ".join(capture.found)


def test_a_signal_can_be_chosen(tmp_path):
    head = VAR + "$var wire 1 & cam $end "
    body = "#0 0! 0& #1 1! 1& #2 0! #3 1! 0& #4 1&"
    chosen = read_capture(dump(tmp_path, body, head), ReadOptions(columns=("top.cam",)))
    assert chosen.header.tracks == ("cam",)
    with pytest.raises(FileError, match=r"no signal 'x'\n  Choose from top.crank, top.cam"):
        read_capture(dump(tmp_path, body, head), ReadOptions(columns=("x",)))


@pytest.mark.parametrize(
    ("body", "head", "end", "message"),
    [
        ("", "", False, "empty"),
        ("", VAR, False, "cut off in its declarations"),
        ("#0 0! #5 1! #3 0!", VAR, True, "clock runs backwards: #3 comes after #5"),
        ("#0 0! #5 0!", VAR, True, "no signal in it changes"),
        ("#0 0! #5 b10", VAR, True, "cut off after time #5"),
        ("#0 0! #x 1!", VAR, True, "'#x' is not a time"),
        ("#0 0!", "$timescale 3 parsecs $end ", True, "declarations cannot be read"),
    ],
)
def test_bad_dumps_are_told_what_was_found(body, head, end, message, tmp_path):
    with pytest.raises(FileError, match=message):
        read_capture(dump(tmp_path, body, head, end))


@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_every_width_of_sample_is_read(width, tmp_path):
    path = tmp_path / "a.wav"
    levels = np.array(([0] * 10 + [1] * 10) * 20)
    top = 2 ** (8 * width - 1) - 1
    values = np.where(levels, top // 2, -top // 2) + (128 if width == 1 else 0)
    raw = b"".join(int(v).to_bytes(width, "little", signed=width > 1) for v in values)
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(width)
        file.setframerate(48_000)
        file.writeframes(raw)
    capture = read_capture(path)
    expected = np.arange(10, 400, 10) / 48_000 * capture.header.tick_hz
    np.testing.assert_allclose(capture.edges.ticks, expected, rtol=1e-6)


def test_a_sound_file_that_is_cut_off(tmp_path):
    path = save_wav(tmp_path / "a.wav", *table("36-minus-1", "steady"), 48_000, 0.02)
    path.write_bytes(path.read_bytes()[:-50_000])
    with pytest.raises(FileError, match=r"cut off: it says 115,\d+ samples and holds 90,\d+"):
        read_capture(path)


def test_a_silent_recording(tmp_path):
    path = tmp_path / "a.wav"
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(48_000)
        file.writeframes(bytes(20_000))
    with pytest.raises(FileError, match="'signal' is constant at 0"):
        read_capture(path)


@pytest.mark.parametrize("split", [1, 7, 100, 4096])
def test_edges_do_not_depend_on_the_blocks(split):
    random = np.random.default_rng(3)
    wave_ = np.sin(np.arange(4096) / 9) + random.normal(0, 0.1, 4096)
    for make in (lambda: LevelDetector(-0.3, 0.3), lambda: VrDetector(0.0, 0.2)):
        whole, _ = make().feed(wave_)
        pieces = make()
        parts = [pieces.feed(wave_[n : n + split])[0] for n in range(0, 4096, split)]
        np.testing.assert_allclose(np.concatenate(parts), whole)
        assert len(whole) > 100


def test_a_vr_threshold_follows_the_speed():
    """Ten times slower and lower half-waves still count; noise a tenth of them does not."""
    fast = np.sin(np.arange(2000) * 2 * np.pi / 50)
    slow = 0.1 * np.sin(np.arange(8000) * 2 * np.pi / 500)
    quiet = 0.01 * np.sin(np.arange(8000) * 2 * np.pi / 37)
    places, levels = VrDetector(0.0, 0.015).feed(np.concatenate([fast, slow + quiet]))
    assert np.sum(places > 2000) == pytest.approx(32, abs=2)
    assert set(np.diff(levels.astype(int)).tolist()) == {-1, 1}

"""Which boards there are: USB ids and HELLO, on pseudo-terminals that a list of ports names."""

import re
from pathlib import Path

import pytest
import serial
from serial.tools import list_ports

from edgewheel.board.discovery import USB_IDS, Candidate, ask, discover, only_board, usb_candidates
from edgewheel.board.drives import find_drives
from edgewheel.board.pty import PtyPort
from edgewheel.errors import BenchError
from edgewheel.link.greeting import NoAnswerError
from edgewheel.link.messages import State
from edgewheel.link.serial_port import SerialPort
from pty_bench import PtyBench
from usb_stand_in import Board, make_drive, usb_port

DESCRIPTORS = Path(__file__).parents[3] / "firmware" / "rp2040" / "usb_descriptors.c"
PATIENCE_NS = 200_000_000


@pytest.fixture
def plugged(monkeypatch, tmp_path):
    """Says which ports are on USB; no drive of this computer is looked at."""
    monkeypatch.setattr("edgewheel.board.drives.usual_roots", lambda: (tmp_path,))

    def plug(*ports):
        monkeypatch.setattr(list_ports, "comports", lambda: list(ports))

    plug()
    return plug


def test_the_ids_are_those_of_the_firmware():
    text = DESCRIPTORS.read_text(encoding="utf-8")
    vendor, product = (
        int(re.search(rf"#define {name} (0x[0-9a-fA-F]+)u", text)[1], 16)
        for name in ("VENDOR", "PRODUCT")
    )
    assert ((vendor, product),) == USB_IDS


def test_only_ports_with_a_boards_ids_are_candidates(plugged):
    plugged(
        usb_port("/dev/ttyACM10"),
        usb_port("/dev/ttyUSB0", (0x1209, 0x0002)),
        usb_port("/dev/ttyACM9"),
        usb_port("/dev/ttyS0", (None, None)),
    )
    assert [one.port for one in usb_candidates()] == ["/dev/ttyACM9", "/dev/ttyACM10"]


def test_a_board_says_who_it_is_and_its_run_is_left_alone(plugged):
    board = Board(firmware="0.3.1")
    with PtyBench(board=board) as bench:
        plugged(usb_port(bench.path))
        (found,) = discover()
        assert only_board() == bench.path
    assert found.is_board
    assert (found.state, found.welcome.firmware) == ("idle", "0.3.1")
    assert board._run.state is State.IDLE


def test_what_is_wrong_with_a_port_is_said_in_a_word(plugged):
    other = Board(major=2)
    with PtyBench(board=other) as bench, PtyBench(mute=True) as mute, PtyBench() as used:
        holder = SerialPort(used.path)
        plugged(usb_port(bench.path), usb_port(used.path))
        found = discover([mute.path, "/dev/none", bench.path])
        holder.close()
        assert [(one.candidate.port, one.state) for one in found] == [
            (bench.path, "other protocol"),
            (used.path, "in use"),
            (mute.path, "silent"),
            ("/dev/none", "no such port"),
        ]
        assert not any(one.is_board for one in found)
        assert found[0].welcome.major == 2


def test_a_port_that_may_not_be_opened(monkeypatch):
    def denied(url, **_):
        raise serial.SerialException(13, f"could not open port {url}: [Errno 13] Permission denied")

    monkeypatch.setattr(serial, "serial_for_url", denied)
    assert ask(Candidate("/dev/ttyACM0")).state == "no permission"


def test_bytes_that_are_no_frames_are_told_from_silence(monkeypatch):
    """Something else answers whatever is said to it with a line of text."""

    class Chatter(SerialPort):
        def write(self, data):
            super().write(data)
            assert port.is_open()
            port.write(b"frost fan 3 is warming up\r\n")

    port = PtyPort()
    monkeypatch.setattr("edgewheel.board.discovery.SerialPort", Chatter)
    found = ask(Candidate(port.path), PATIENCE_NS)
    port.close()

    assert isinstance(found.error, NoAnswerError)
    assert "bytes came, but none of them was a frame" in str(found.error)


def test_no_board_says_what_to_do(plugged):
    with pytest.raises(BenchError, match=r"No board is on USB.*edgewheel flash"):
        only_board()


def test_a_board_in_its_boot_loader_is_named(plugged, tmp_path):
    make_drive(tmp_path / "user" / "BOARD")
    with pytest.raises(BenchError, match=r"boot loader \(its drive is .*BOARD\)"):
        only_board()


def test_two_boards_are_listed_not_guessed_at(plugged):
    with (
        PtyBench(board=Board(unique_id=b"fan one ")) as one,
        PtyBench(board=Board(unique_id=b"fan two ")) as two,
    ):
        plugged(usb_port(one.path), usb_port(two.path))
        with pytest.raises(BenchError) as caught:
            only_board()
    text = str(caught.value)
    assert "There are 2 boards" in text
    assert f"{one.path}: RP2040 board with the id {b'fan one '.hex()}, idle" in text
    assert b"fan two ".hex() in text


def test_a_board_in_use_is_a_board_all_the_same(plugged):
    with PtyBench(board=Board()) as used, PtyBench(board=Board()) as free:
        holder = SerialPort(used.path)
        plugged(usb_port(used.path))
        with pytest.raises(BenchError, match="The only board is busy"):
            only_board()
        plugged(usb_port(used.path), usb_port(free.path))
        with pytest.raises(BenchError, match="There are 2 boards"):
            only_board()
        holder.close()


def test_a_silent_port_with_the_ids_is_no_board(plugged):
    with PtyBench(mute=True) as mute, PtyBench(board=Board()) as board:
        plugged(usb_port(mute.path))
        with pytest.raises(BenchError, match=r"(?s)No board can be used.*not a byte came"):
            only_board()
        plugged(usb_port(mute.path), usb_port(board.path))
        assert only_board() == board.path


def test_drives_are_found_where_systems_mount_them(tmp_path):
    """UF2 specification: INFO_UF2.TXT has a Board-ID."""
    deep = make_drive(tmp_path / "run" / "user" / "BOARD", "RPI-RP2")
    here = make_drive(tmp_path / "mnt", "FROST-FAN-9")
    make_drive(tmp_path / "run" / "a" / "b" / "too deep")
    (tmp_path / "run" / "stick").mkdir()
    found = find_drives([tmp_path / "run", tmp_path / "mnt", tmp_path / "nowhere"])
    assert [(drive.folder, drive.board_id) for drive in found] == [
        (here, "FROST-FAN-9"),
        (deep, "RPI-RP2"),
    ]
    (here / "INFO_UF2.TXT").write_bytes(b"\xff\x00 no key here")
    assert find_drives([here])[0].board_id == ""

"""Flashing a stand-in for a board: a pseudo-terminal and a folder. Nothing here is a real board."""

from pathlib import Path

import pytest
from serial.tools import list_ports

from edgewheel.board import bootloader
from edgewheel.board.flash import flash
from edgewheel.board.image import load_image, packaged_image
from edgewheel.errors import BenchError, UsageError
from pty_bench import PtyBench
from usb_stand_in import Board, HurriedClock, UsbStandIn, make_drive, usb_port, wait_until

IMAGE = load_image(packaged_image())


@pytest.fixture(autouse=True)
def no_ports(monkeypatch):
    """No port of this computer is looked at; what is found has no block device."""
    monkeypatch.setattr(list_ports, "comports", list)
    monkeypatch.setattr("edgewheel.board.drives._LABELS", Path("/nowhere"))


@pytest.fixture
def stand_in(tmp_path, monkeypatch):
    def make(becomes=IMAGE.firmware, **options):
        board = UsbStandIn(tmp_path, becomes, **options)
        monkeypatch.setattr(list_ports, "comports", board.comports)
        return board

    return make


def go(board, port=None, clock=None):
    """Flash; what came of it, and what was said."""
    said = []
    return flash(IMAGE, port, [board.root], said.append, clock), said


def test_a_board_is_ordered_in_gets_the_image_and_says_its_version(stand_in):
    with stand_in() as board:
        flashed, said = go(board)
        assert board.copied == IMAGE.data
    assert (flashed.before, flashed.welcome.firmware) == ("0.0.9", IMAGE.firmware)
    assert flashed.port == str(board.port)
    assert "enters its boot loader" in said[0]
    assert not any("1200" in line for line in said)


def test_firmware_that_knows_no_order_is_touched(stand_in):
    with stand_in(obeys=False) as board:
        flashed, said = go(board)
        assert board.copied == IMAGE.data
    assert flashed.before == "0.0.9"
    assert any("1200 baud" in line for line in said)


def test_a_board_in_its_boot_loader_is_taken_as_it_is(stand_in):
    with stand_in() as board:
        board.touched = True
        wait_until((board.drive / "INFO_UF2.TXT").is_file)
        flashed, said = go(board)
    assert flashed.before == ""
    assert flashed.welcome.firmware == IMAGE.firmware
    assert said[0].startswith("copying")


def test_a_board_that_comes_back_as_it_was_is_an_error(stand_in):
    with stand_in(becomes="0.0.9") as board, pytest.raises(BenchError, match="was not taken"):
        go(board)


def test_a_board_that_shows_no_drive(stand_in):
    with (
        stand_in(obeys=False, touchable=False) as board,
        pytest.raises(BenchError, match=r"did not show the drive.*hold its boot button"),
    ):
        go(board, clock=HurriedClock())


def test_a_drive_that_is_not_mounted(stand_in, monkeypatch, tmp_path):
    labels = tmp_path / "labels"
    labels.mkdir()
    (labels / IMAGE.chip.board_id).touch()
    monkeypatch.setattr("edgewheel.board.drives._LABELS", labels)
    with (
        stand_in(obeys=False, touchable=False) as board,
        pytest.raises(BenchError, match=r"udisksctl mount -b .*/RPI-RP2"),
    ):
        go(board, clock=HurriedClock())


def test_a_board_that_does_not_come_back(tmp_path):
    drive = make_drive(tmp_path / "drive")
    with pytest.raises(BenchError, match="did not come back within 15 s"):
        flash(IMAGE, None, [tmp_path], print, HurriedClock())
    assert (drive / IMAGE.path.name).read_bytes() == IMAGE.data


def test_a_full_drive_is_told_if_the_board_does_not_come_back(tmp_path, monkeypatch):
    make_drive(tmp_path / "drive")

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("edgewheel.board.flash.os.fsync", full)
    with pytest.raises(BenchError, match="ended with: No space left"):
        flash(IMAGE, None, [tmp_path], print, HurriedClock())


def test_a_drive_that_may_not_be_written(tmp_path, monkeypatch):
    make_drive(tmp_path / "drive")

    def denied(_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("edgewheel.board.flash.os.fsync", denied)
    with pytest.raises(BenchError, match="may not be written by this user"):
        flash(IMAGE, None, [tmp_path], print)


def test_a_run_that_a_host_has_left_behind_is_stopped_first(stand_in):
    with stand_in(prepare=lambda board: board.begin_a_run()) as board:
        flashed, said = go(board)
    assert flashed.welcome.firmware == IMAGE.firmware
    assert not any("1200" in line for line in said)


def test_a_board_that_refuses_is_not_touched(stand_in):
    def stubborn(board):
        board.stubborn = True

    with stand_in(prepare=stubborn) as board:
        with pytest.raises(BenchError, match="is in a run and does not leave it"):
            go(board)
        assert not board.touched


def test_the_named_board_is_flashed_though_another_waits_in_its_boot_loader(stand_in):
    with stand_in() as board:
        other = make_drive(board.root / "user" / "OTHER")
        flashed, _ = go(board, port=str(board.port))
        assert board.copied == IMAGE.data
    assert flashed.before == "0.0.9"
    assert [path.name for path in other.iterdir()] == ["INFO_UF2.TXT"]


def test_a_named_port_that_is_gone_because_its_board_is_in_the_boot_loader(tmp_path):
    make_drive(tmp_path / "drive")
    with pytest.raises(BenchError, match="did not come back"):
        flash(IMAGE, "/dev/none", [tmp_path], print, HurriedClock())
    assert (tmp_path / "drive" / IMAGE.path.name).read_bytes() == IMAGE.data
    with pytest.raises(BenchError, match="There is no port /dev/none"):
        flash(IMAGE, "/dev/none", [tmp_path / "empty"], print)


def test_other_boards_are_not_taken_for_the_one_that_comes_back(stand_in, monkeypatch):
    """One is on USB all the time, another is plugged in meanwhile; both have the firmware."""
    with (
        PtyBench(board=Board(IMAGE.firmware, unique_id=b"fan one ")) as always,
        PtyBench(board=Board(IMAGE.firmware, unique_id=b"fan two ")) as later,
        stand_in() as board,
    ):

        def comports():
            shown = [usb_port(later.path)] if board.copied else []
            return [*shown, usb_port(always.path), *board.comports()]

        monkeypatch.setattr(list_ports, "comports", comports)
        flashed, _ = go(board, port=str(board.port))
        assert flashed.port == str(board.port)
        board.touched = True
        wait_until((board.drive / "INFO_UF2.TXT").is_file)
        monkeypatch.setattr(
            list_ports, "comports", lambda: [usb_port(always.path), *board.comports()]
        )
        flashed, _ = go(board)
        assert flashed.port == str(board.port)


def test_another_kind_of_chip_is_not_ordered_in(tmp_path, monkeypatch):
    with PtyBench(board=Board(board=7)) as bench:
        monkeypatch.setattr(list_ports, "comports", lambda: [usb_port(bench.path)])
        with pytest.raises(UsageError, match=r"board of kind 7.*for another kind"):
            flash(IMAGE, None, [tmp_path], print)
        assert not bench.board.left


def test_several_boards_are_not_guessed_at(tmp_path, monkeypatch):
    ports = [usb_port("/dev/ttyACM0"), usb_port("/dev/ttyACM1")]
    monkeypatch.setattr(list_ports, "comports", lambda: ports)
    with pytest.raises(UsageError, match="edgewheel flash --port /dev/ttyACM0"):
        flash(IMAGE, None, [tmp_path], print)


def test_another_kind_of_board_gets_nothing(tmp_path):
    drive = make_drive(tmp_path / "drive", "FROST-FAN-9")
    with pytest.raises(BenchError, match=r"another kind of board.*FROST-FAN-9"):
        flash(IMAGE, None, [tmp_path], print)
    assert [path.name for path in drive.iterdir()] == ["INFO_UF2.TXT"]


def test_two_boot_loaders_are_not_guessed_at(tmp_path):
    make_drive(tmp_path / "a")
    make_drive(tmp_path / "b")
    with pytest.raises(UsageError, match="Unplug all but one"):
        flash(IMAGE, None, [tmp_path], print)


def test_no_board_at_all(tmp_path):
    with pytest.raises(BenchError, match=bootloader.BY_HAND):
        flash(IMAGE, None, [tmp_path], print)


def test_a_silent_port_is_touched_only_if_it_is_named(tmp_path, monkeypatch):
    """Other devices may have the same USB ids."""
    touched = []
    monkeypatch.setattr(bootloader, "touch", touched.append)
    with PtyBench(mute=True) as silent:
        monkeypatch.setattr(list_ports, "comports", lambda: [usb_port(silent.path)])
        with pytest.raises(BenchError, match="nothing there answers"):
            flash(IMAGE, None, [tmp_path], print, HurriedClock())
        assert touched == []
        with pytest.raises(BenchError, match="did not show the drive"):
            flash(IMAGE, silent.path, [tmp_path], print, HurriedClock())
    assert touched == [silent.path]


def test_a_simulated_board_has_no_firmware(tmp_path):
    with PtyBench() as bench, pytest.raises(UsageError, match="no firmware to replace"):
        flash(IMAGE, bench.path, [tmp_path], print)


def test_a_board_that_is_unplugged_while_it_is_asked(stand_in, monkeypatch):
    def unplugged(_):
        raise OSError(5, "Input/output error")

    with stand_in() as board:
        monkeypatch.setattr("edgewheel.board.bootloader.SerialPort.read", unplugged)
        with pytest.raises(BenchError, match="went away while it was asked"):
            go(board)

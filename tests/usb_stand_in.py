"""A board on USB as the computer sees it: a port while it runs, a drive in its boot loader."""

import shutil
import termios
import threading
import time
from dataclasses import replace

from serial.tools.list_ports_common import ListPortInfo

from edgewheel.board.discovery import USB_IDS
from edgewheel.board.pty import PtyBoard
from edgewheel.board.run import SimSettings
from edgewheel.board.sim import SimBoard
from edgewheel.link.messages import Arm, Bootloader, Refusal, State
from edgewheel.link.welcome import FEATURE_BOOTLOADER, RP2040
from edgewheel.wholefile import write_whole

INFO = "UF2 Bootloader v3.0\r\nModel: a stand-in\r\nBoard-ID: {}\r\n"
BOARD_ID = "RPI-RP2"


def usb_port(path, ids=USB_IDS[0]):
    """What the list of serial ports says of a port."""
    info = ListPortInfo(str(path))
    info.vid, info.pid = ids
    info.serial_number = "0123456789ABCDEF"
    return info


def make_drive(folder, board_id=BOARD_ID):
    """A boot loader's drive, whose one file is whole as soon as it is there."""
    folder.mkdir(parents=True)
    write_whole(folder / "INFO_UF2.TXT", INFO.format(board_id))
    return folder


class Board(SimBoard):
    """Says that it is a real one; `left` once it has been ordered into its boot loader."""

    def __init__(self, firmware="0.1.0", obeys=True, **head):
        super().__init__(SimSettings(history_depth=1024, firmware=firmware))
        self._head = {"board": RP2040, "features": FEATURE_BOOTLOADER * obeys, **head}
        self.left = self.stubborn = False
        self._takers[Bootloader.TYPE] = (Bootloader, self._bootloader)

    def _welcome(self):
        return replace(super()._welcome(), **self._head)

    def _bootloader(self, order):
        assert order.magic == b"BOOT"
        if self.stubborn or self._run.state in (State.ARMED, State.RUNNING):
            return Refusal.STATE
        self.left = True
        return None

    def begin_a_run(self):
        """As a host that is gone by now has left it."""
        self._run.arm(Arm(7, 0, 0, 0, 0, 0, 60_000))


class UsbStandIn:
    """Runs in a thread for the time of a `with` block.

    `obeys`: it knows BOOTLOADER. `touchable`: a touch at 1200 baud has it enter its boot loader.
    What is copied to the drive gives it the firmware `becomes`. `prepare` is called with each
    board that wakes.
    """

    def __init__(
        self,
        folder,
        becomes,
        firmware="0.0.9",
        obeys=True,
        touchable=True,
        prepare=lambda board: None,
    ):
        self.port = folder / "ttyACM0"
        self.root = folder / "media"
        self.drive = self.root / "user" / "BOARD"
        self.copied = b""
        self.touched = False
        self._becomes, self._firmware = becomes, firmware
        self._obeys, self._touchable, self._prepare = obeys, touchable, prepare
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._live, daemon=True)

    def __enter__(self):
        self.root.mkdir()
        self._thread.start()
        wait_until(self.port.is_symlink)
        return self

    def __exit__(self, *_):
        self._over.set()
        self._thread.join()

    def comports(self):
        """The list of serial ports."""
        return [usb_port(self.port)] if self.port.is_symlink() else []

    def _live(self):
        while not self._over.is_set():
            self._run()
            if not self._over.is_set():
                self._load()

    def _run(self):
        board = Board(self._firmware, self._obeys)
        self._prepare(board)
        pty = PtyBoard(board)
        self.port.symlink_to(pty.port.path)

        def over():
            if self._touchable and not pty.port.is_open():
                self.touched |= termios.tcgetattr(pty.port._fd)[5] == termios.B1200
            return board.left or self.touched or self._over.is_set()

        pty.run(over)
        self.port.unlink()

    def _load(self):
        self.touched = False
        make_drive(self.drive)
        while not self._over.is_set():
            files = list(self.drive.glob("*.uf2"))
            if files and files[0].stat().st_size:
                time.sleep(0.05)
                self.copied = files[0].read_bytes()
                self._firmware = self._becomes
                break
            time.sleep(0.01)
        shutil.rmtree(self.drive)


class HurriedClock:
    """The time of the room, twenty times as fast."""

    def now_ns(self):
        return time.monotonic_ns() * 20

    def sleep_until(self, deadline_ns):
        time.sleep(max(0, deadline_ns - self.now_ns()) / 20e9)


def wait_until(condition, seconds=10):
    deadline = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < deadline
        time.sleep(0.005)

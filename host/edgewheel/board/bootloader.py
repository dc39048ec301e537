"""The way into a board's boot loader: it is there already, or it is ordered in, or touched."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TypeVar

from edgewheel.board import drives
from edgewheel.board.discovery import usb_candidates
from edgewheel.board.drives import Drive, find_drives
from edgewheel.board.enquiry import Enquiry
from edgewheel.board.image import Chip
from edgewheel.clock import Clock
from edgewheel.errors import BenchError, UsageError
from edgewheel.link import greeting
from edgewheel.link.messages import Refusal
from edgewheel.link.serial_port import NoPortError, SerialPort, touch
from edgewheel.link.welcome import FEATURE_BOOTLOADER, SIMULATED, Welcome

HELLO_NS = 1_500_000_000
REFUSAL_NS = 300_000_000
ORDER_NS = 4_000_000_000
"""How long a drive may take to appear after an order before the board is touched."""
DRIVE_NS = 10_000_000_000
_LOOK_NS = 200_000_000

BY_HAND = (
    "By hand: unplug the board, hold its boot button down, plug it in, let go, then type "
    "edgewheel flash"
)

_Thing = TypeVar("_Thing")


class Bootloader:
    """Brings a board into its boot loader.

    `port` None takes the board that is there already, else the only one on USB. `roots` are where
    drives are looked for; `say` is told what happens. `before` is what the board said of itself.
    """

    def __init__(
        self,
        chip: Chip,
        port: str | None,
        roots: Iterable[Path],
        say: Callable[[str], None],
        clock: Clock,
    ) -> None:
        self.before: Welcome | None = None
        self._chip = chip
        self._port = port
        self._roots = tuple(roots)
        self._say = say
        self._clock = clock

    def enter(self) -> Drive:
        """The drive of the board in its boot loader. Raises BenchError, UsageError."""
        present = find_drives(self._roots)
        if self._port is None and present:
            return _only(present)
        port = self._port or _only_port()
        try:
            ordered = self._order(port)
        except NoPortError:
            if present:
                return _only(present)
            raise

        def new() -> Drive | None:
            found = [drive for drive in find_drives(self._roots) if drive not in present]
            return _only(found) if found else None

        drive = wait_for(new, ORDER_NS, self._clock) if ordered else None
        if drive is None:
            self._touch(port)
            drive = wait_for(new, DRIVE_NS, self._clock)
        if drive is None:
            raise BenchError(self._no_drive(port))
        return drive

    def _order(self, port: str) -> bool:
        """Order the board into its boot loader; false if it is silent or does not know how."""
        transport = SerialPort(port)
        try:
            enquiry = Enquiry(transport, self._clock)
            self.before = welcome = enquiry.hello(HELLO_NS)
            if welcome is None:
                self._may_touch(port)
                return False
            self._check_kind(welcome, port)
            if not welcome.features & FEATURE_BOOTLOADER:
                return False
            self._say(f"{greeting.describe(welcome)} enters its boot loader")
            refusal = enquiry.enter_bootloader(REFUSAL_NS)
        except OSError as error:
            raise NoPortError(
                f"{port} went away while it was asked ({error}). {BY_HAND}"
            ) from error
        finally:
            transport.close()
        if refusal is Refusal.STATE:
            raise BenchError(f"The board at {port} is in a run and does not leave it. {BY_HAND}")
        return refusal is None

    def _check_kind(self, welcome: Welcome, port: str) -> None:
        if welcome.board == SIMULATED:
            raise UsageError(f"At {port} is a simulated board: it has no firmware to replace.")
        if welcome.board != self._chip.board:
            raise UsageError(
                f"At {port} is the {greeting.describe(welcome)}, and the image is for another "
                "kind. Name the right one: edgewheel flash --image FILE.uf2"
            )

    def _may_touch(self, port: str) -> None:
        """A silent port is only touched if it was named: others may share the USB ids."""
        if self._port is None:
            raise BenchError(
                f"{port} has the USB ids of a board, but nothing there answers. If it is the "
                f"board: edgewheel flash --port {port}"
            )

    def _touch(self, port: str) -> None:
        self._say(f"touching {port} at 1200 baud")
        try:
            touch(port)
        except NoPortError:
            return  # it is on its way already

    def _no_drive(self, port: str) -> str:
        device = drives.unmounted_device(self._chip.board_id)
        if device is not None:
            return (
                f"The boot loader is there ({device}), but its drive is not mounted. Type: "
                f"udisksctl mount -b {device}   and then: edgewheel flash"
            )
        return f"The board at {port} did not show the drive of its boot loader. {BY_HAND}"


def wait_for(look: Callable[[], _Thing | None], patience_ns: int, clock: Clock) -> _Thing | None:
    """What `look` gives as soon as it gives something; None if it does not in time."""
    end_ns = clock.now_ns() + patience_ns
    while True:
        thing = look()
        if thing is not None or clock.now_ns() >= end_ns:
            return thing
        clock.sleep_until(clock.now_ns() + _LOOK_NS)


def _only(found: Iterable[Drive]) -> Drive:
    first, *more = found
    if more:
        listed = ", ".join(str(drive.folder) for drive in (first, *more))
        raise UsageError(
            f"Several boards are in their boot loaders: {listed}. Unplug all but one, or name the "
            f"one you mean: edgewheel flash --drive {first.folder}"
        )
    return first


def _only_port() -> str:
    ports = [candidate.port for candidate in usb_candidates()]
    if len(ports) > 1:
        raise UsageError(
            f"There are several boards: {', '.join(ports)}. Name the one you mean: "
            f"edgewheel flash --port {ports[0]}"
        )
    if not ports:
        raise BenchError(f"No board is on USB, and none is in its boot loader. {BY_HAND}")
    return ports[0]

"""Which boards there are: by the USB ids of their ports, and by their answer to HELLO."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from serial.tools import list_ports

from edgewheel.board import drives
from edgewheel.board.enquiry import Enquiry
from edgewheel.clock import Clock, WallClock
from edgewheel.errors import BenchError
from edgewheel.link import greeting
from edgewheel.link.messages import State
from edgewheel.link.serial_port import BusyPortError, ForbiddenPortError, NoPortError, SerialPort
from edgewheel.link.welcome import Welcome

USB_IDS = ((0x1209, 0x0001),)
"""Vendor and product, as the firmware's descriptors say them. Hobby devices may share them: who it
is, HELLO tells."""

PATIENCE_NS = 1_500_000_000
"""A board on USB answers within milliseconds; opening its port does not restart it."""


@dataclass(frozen=True)
class Candidate:
    """A port that may be a board's. `usb` is vendor and product, None where it is not USB."""

    port: str
    usb: tuple[int, int] | None = None
    usb_serial: str = ""


@dataclass(frozen=True)
class Found:
    """What is at a port: the board that answered, or why none did."""

    candidate: Candidate
    welcome: Welcome | None
    error: BenchError | None

    @property
    def is_board(self) -> bool:
        """Is it a board that a run can use?"""
        return self.error is None

    @property
    def state(self) -> str:
        """One or two words: the state of the board, or what is wrong."""
        if self.error is not None:
            words = (word for kind, word in _PROBLEMS if isinstance(self.error, kind))
            return next(words, "not usable")
        assert self.welcome is not None
        try:
            return State(self.welcome.state).name.lower()
        except ValueError:
            return f"state {self.welcome.state}"


_PROBLEMS = (
    (BusyPortError, "in use"),
    (ForbiddenPortError, "no permission"),
    (NoPortError, "no such port"),
    (greeting.NoAnswerError, "silent"),
    (greeting.WrongVersionError, "other protocol"),
)


def usb_candidates() -> tuple[Candidate, ...]:
    """The serial ports with the USB ids of a board, in the order of their names."""
    return tuple(
        Candidate(info.device, (info.vid, info.pid), info.serial_number or "")
        for info in sorted(list_ports.comports())
        if info.vid is not None and info.pid is not None and (info.vid, info.pid) in USB_IDS
    )


def other_ports() -> int:
    """How many serial ports there are that are not a board's by their USB ids."""
    return len(list_ports.comports()) - len(usb_candidates())


def ask(candidate: Candidate, patience_ns: int = PATIENCE_NS, clock: Clock | None = None) -> Found:
    """Open a port, say HELLO and close it again; no run is touched."""
    try:
        port = SerialPort(candidate.port)
    except BenchError as error:
        return Found(candidate, None, error)
    try:
        return _answer(candidate, Enquiry(port, clock or WallClock()), patience_ns)
    except OSError as error:
        text = f"{candidate.port} went away while it was asked ({error}): plug it in again"
        return Found(candidate, None, NoPortError(text))
    finally:
        port.close()


def _answer(candidate: Candidate, enquiry: Enquiry, patience_ns: int) -> Found:
    welcome = enquiry.hello(patience_ns)
    if welcome is None:
        heard = enquiry.inbox.bytes_heard, enquiry.inbox.frames_heard
        return Found(candidate, None, greeting.no_answer(candidate.port, *heard, patience_ns))
    error = greeting.judge(welcome, greeting.BoardWish(), candidate.port)
    return Found(candidate, welcome, error)


def discover(more_ports: Iterable[str] = ()) -> tuple[Found, ...]:
    """Ask all ports with a board's USB ids, and those named besides, all at once."""
    candidates = usb_candidates()
    known = {candidate.port for candidate in candidates}
    named = dict.fromkeys(port for port in more_ports if port not in known)
    everyone = (*candidates, *(Candidate(port) for port in named))
    if not everyone:
        return ()
    with ThreadPoolExecutor(len(everyone)) as pool:
        return tuple(pool.map(ask, everyone))


def only_board() -> str:
    """The port of the only board on USB.

    Raises BenchError if there is none or several; a board that another program uses counts.
    """
    found = discover()
    boards = [one for one in found if one.is_board or isinstance(one.error, BusyPortError)]
    if len(boards) == 1 and boards[0].error is None:
        return boards[0].candidate.port
    if not boards:
        raise BenchError(_none(found))
    if len(boards) == 1:
        raise BenchError(f"The only board is busy. {boards[0].error}")
    listed = "".join(f"\n  {in_words(one)}" for one in boards)
    raise BenchError(
        f"There are {len(boards)} boards; name the port of the one you mean ('board: PORT' in a "
        f"bench file, --port on the command line):{listed}"
    )


def in_words(found: Found) -> str:
    """One line: port, who it is, state."""
    who = f"{greeting.describe(found.welcome)}, " if found.welcome else ""
    return f"{found.candidate.port}: {who}{found.state}"


def _none(found: Sequence[Found]) -> str:
    """Why there is no board, and what to do."""
    if found:
        whys = "".join(f"\n  {one.error}" for one in found)
        return f"No board can be used:{whys}"
    waiting = drives.find_drives(drives.usual_roots())
    if waiting:
        return (
            f"The only board is in its boot loader (its drive is {waiting[0].folder}). Put the "
            "firmware on it: edgewheel flash"
        )
    return (
        "No board is on USB. Plug one in; a new one wants its firmware first: edgewheel flash. A "
        "board that is not on USB is named by its port ('board: PORT' in a bench file, --port on "
        "the command line); 'board: sim' needs none."
    )

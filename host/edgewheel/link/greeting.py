"""HELLO and WELCOME: find out who is at the other end, and say it plainly if that is no good."""

from __future__ import annotations

from dataclasses import dataclass

from edgewheel.errors import BenchError, BenchTimeoutError
from edgewheel.link.messages import MAGIC, MAJOR, MINOR, Hello
from edgewheel.link.welcome import RP2040, SIMULATED, Welcome

RETRY_NS = 100_000_000
PATIENCE_NS = 4_000_000_000

_NAMES = {SIMULATED: "simulated board", RP2040: "RP2040 board"}


class NoAnswerError(BenchTimeoutError):
    """Nothing at the other end speaks the protocol."""


class WrongVersionError(BenchError):
    """The board speaks another version of the protocol."""


class WrongBoardError(BenchError):
    """The board is not the one that was asked for."""


@dataclass(frozen=True)
class BoardWish:
    """Which board is wanted: its kind, its unique id, or any."""

    board: int | None = None
    unique_id: bytes | None = None

    def allows(self, welcome: Welcome) -> bool:
        """Is this such a board?"""
        return self.board in (None, welcome.board) and self.unique_id in (None, welcome.unique_id)

    def __str__(self) -> str:
        if self.unique_id is not None:
            return f"the board with the id {self.unique_id.hex()}"
        return f"an {_NAMES[self.board]}" if self.board in _NAMES else f"board {self.board}"


def kind(welcome: Welcome) -> str:
    """What kind of board this is, in words."""
    return _NAMES.get(welcome.board, f"board of kind {welcome.board}")


def describe(welcome: Welcome) -> str:
    """A board in words: its kind and id."""
    return f"{kind(welcome)} with the id {welcome.unique_id.hex()}"


def hello(session: int) -> bytes:
    """The payload of HELLO."""
    return Hello(MAGIC, session, MAJOR, MINOR).pack()


def judge(welcome: Welcome, wish: BoardWish, port: str) -> BenchError | None:
    """What is wrong with the board that answered, None if nothing is."""
    if welcome.major != MAJOR or not welcome.complete:
        return WrongVersionError(
            f"The board at {port} speaks protocol {welcome.major}.{welcome.minor}, this program "
            f"{MAJOR}.{MINOR}. Put the firmware that belongs to it on the board: edgewheel flash"
        )
    if not wish.allows(welcome):
        return WrongBoardError(
            f"At {port} is the {describe(welcome)}, not {wish}. Plug in the other one, or put the "
            f"right firmware on this one: edgewheel flash"
        )
    return None


def no_answer(
    port: str, heard_bytes: int, heard_frames: int, patience_ns: int = PATIENCE_NS
) -> BenchError:
    """Why nothing came of it, with what was heard in the meantime."""
    if heard_frames:
        heard = f"{heard_frames} frames came, but no answer to HELLO"
    elif heard_bytes:
        heard = f"{heard_bytes} bytes came, but none of them was a frame"
    else:
        heard = "not a byte came"
    return NoAnswerError(
        f"Nothing at {port} answered as an edgewheel board within {patience_ns / 1e9:g} s "
        f"({heard}). If this is the right port, put the firmware on the board: edgewheel flash"
    )

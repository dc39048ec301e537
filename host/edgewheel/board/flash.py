"""Puts an image on a board: into the boot loader, onto its drive, and back again.

Written to the UF2 specification, the chip's boot ROM and the CDC class; it has never been tried on
a real board.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from edgewheel.board.bootloader import BY_HAND, Bootloader, wait_for
from edgewheel.board.discovery import Candidate, Found, ask, usb_candidates
from edgewheel.board.drives import Drive
from edgewheel.board.image import Image
from edgewheel.clock import Clock, WallClock
from edgewheel.errors import BenchError
from edgewheel.link.welcome import Welcome

HELLO_NS = 500_000_000
RETURN_NS = 15_000_000_000


@dataclass(frozen=True)
class Flashed:
    """What came of it. `before` is the firmware that was on the board, '' if nobody could say."""

    port: str
    welcome: Welcome
    before: str


def flash(
    image: Image,
    port: str | None,
    roots: Iterable[Path],
    say: Callable[[str], None],
    clock: Clock | None = None,
) -> Flashed:
    """Flash one board; see :class:`Bootloader` for `port`, `roots` and `say`.

    Raises BenchError or UsageError with what to type.
    """
    clock = clock or WallClock()
    bootloader = Bootloader(image.chip, port, roots, say, clock)
    drive = bootloader.enter()
    _check_drive(drive, image)
    others = {candidate.port for candidate in usb_candidates()}
    say(f"copying {image.path.name} to {drive.folder}")
    trouble = _copy(image, drive)
    say("waiting for the board to come back")
    back = wait_for(lambda: _returned(port, others, bootloader.before, clock), RETURN_NS, clock)
    if back is None or back.welcome is None:
        raise BenchError(_never_back(drive, trouble))
    _check_version(back.welcome, image)
    before = bootloader.before.firmware if bootloader.before else ""
    return Flashed(back.candidate.port, back.welcome, before)


def _check_drive(drive: Drive, image: Image) -> None:
    if drive.board_id != image.chip.board_id:
        raise BenchError(
            f"The drive {drive.folder} is that of another kind of board "
            f"({drive.board_id or 'it does not say which'}); {image.path.name} is for "
            f"{image.chip.board_id}. Unplug that board, then type: edgewheel flash"
        )


def _copy(image: Image, drive: Drive) -> str:
    """Copy the image; what went wrong, '' if nothing did.

    The board restarts as soon as it has the last block, so the drive may vanish before the system
    has closed the file. Whether that was all, the version that comes back tells.
    """
    try:
        with (drive.folder / image.path.name).open("wb") as file:
            file.write(image.data)
            file.flush()
            os.fsync(file.fileno())
    except PermissionError as error:
        raise BenchError(
            f"The drive {drive.folder} may not be written by this user ({error.strerror}). Mount "
            "it for this user, then type: edgewheel flash"
        ) from error
    except OSError as error:
        return error.strerror or str(error)
    return ""


def _returned(
    port: str | None, others: set[str], before: Welcome | None, clock: Clock
) -> Found | None:
    """The board, if it has come back and answers: the one that was there, or a new one."""
    candidates = [one for one in usb_candidates() if one.port not in others]
    if port is not None:
        candidates.append(Candidate(port))
    for candidate in candidates:
        found = ask(candidate, HELLO_NS, clock)
        if found.welcome and (before is None or found.welcome.unique_id == before.unique_id):
            return found
    return None


def _check_version(welcome: Welcome, image: Image) -> None:
    protocol = f"{welcome.major}.{welcome.minor}"
    if (welcome.firmware, protocol) != (image.firmware, image.protocol):
        raise BenchError(
            f"The board came back with firmware {welcome.firmware or '?'} (protocol {protocol}), "
            f"not {image.firmware} ({image.protocol}): the image was not taken. {BY_HAND}"
        )


def _never_back(drive: Drive, trouble: str) -> str:
    why = f" (the copy to {drive.folder} ended with: {trouble})" if trouble else ""
    return (
        f"The board did not come back within {RETURN_NS // 10**9} s{why}. Unplug it, plug it in, "
        f"and see whether it answers: edgewheel boards. If it does not: {BY_HAND}"
    )

"""The drive as which a board in its boot loader shows itself: a folder with INFO_UF2.TXT."""

from __future__ import annotations

import string
import sys
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

INFO = "INFO_UF2.TXT"
_BOARD_ID = "board-id"
_LARGEST_INFO = 4096
_LABELS = Path("/dev/disk/by-label")


@dataclass(frozen=True)
class Drive:
    """A boot loader's drive that is mounted; `board_id` is what it calls itself."""

    folder: Path
    board_id: str


def usual_roots() -> tuple[Path, ...]:
    """Where this kind of system mounts drives, or below."""
    if sys.platform == "win32":
        return tuple(Path(f"{letter}:/") for letter in string.ascii_uppercase[2:])
    return tuple(map(Path, ("/media", "/run/media", "/mnt", "/Volumes")))


def find_drives(roots: Iterable[Path]) -> tuple[Drive, ...]:
    """The drives that are at the roots or up to two folders below, in the order of their names.

    What may not be read is passed over.
    """
    folders = sorted({folder for root in roots for folder in _folders(root, 2)})
    return tuple(drive for folder in folders if (drive := _read(folder)) is not None)


def unmounted_device(board_id: str) -> Path | None:
    """The block device of a boot loader's drive that is there but perhaps not mounted (Linux)."""
    device = _LABELS / board_id
    return device if device.exists() else None


def _folders(root: Path, deep: int) -> Iterator[Path]:
    yield root
    if deep:
        with suppress(OSError):
            for child in root.iterdir():
                if child.is_dir():
                    yield from _folders(child, deep - 1)


def _read(folder: Path) -> Drive | None:
    """The drive in a folder: the UF2 specification asks for INFO_UF2.TXT and its Board-ID."""
    try:
        with (folder / INFO).open("rb") as file:
            text = file.read(_LARGEST_INFO).decode("ascii", errors="replace")
    except OSError:
        return None
    for line in text.splitlines():
        key, _, value = line.partition(":")
        if key.strip().lower() == _BOARD_ID:
            return Drive(folder, value.strip())
    return Drive(folder, "")

"""The firmware image that comes with edgewheel, held to its manifest before a board gets it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from struct import Struct
from typing import Any

from edgewheel.errors import EdgewheelError, FileError, Place
from edgewheel.link.welcome import RP2040

_PACKAGE = Path(__file__).resolve().parents[1]
_NAME = "edgewheel-rp2040.uf2"
_REBUILD = "Build it again (make -C firmware images), or install edgewheel again."

_BLOCK = Struct("<8I476sI")
_MAGICS = 0x0A324655, 0x9E5D5157, 0x0AB16F30
_NOT_MAIN_FLASH, _FAMILY_PRESENT = 0x0001, 0x2000
_PAYLOAD = 256


@dataclass(frozen=True)
class Chip:
    """What belongs to a chip: its boot loader's Board-ID and UF2 family, its number in WELCOME."""

    board_id: str
    family: int
    board: int


CHIPS = {"rp2040": Chip("RPI-RP2", 0xE48BFF56, RP2040)}
"""By the word for it in a manifest. Board-ID: what the chip's boot ROM writes into INFO_UF2.TXT;
family: the UF2 specification's list."""


@dataclass(frozen=True)
class Image:
    """An image that agrees with its manifest."""

    path: Path
    data: bytes
    chip: Chip
    firmware: str
    protocol: str


def packaged_image() -> Path:
    """Where the image lies: in the package when installed, under firmware/ in a checkout.

    Raises EdgewheelError if it is in neither place.
    """
    for folder in (_PACKAGE / "_firmware", _PACKAGE.parents[1] / "firmware" / "images"):
        if (folder / _NAME).is_file():
            return folder / _NAME
    raise EdgewheelError("The firmware image is missing. Install edgewheel again.")


def load_image(path: Path) -> Image:
    """The image in a UF2 file whose manifest lies beside it, as .json.

    Raises FileError if one of them cannot be read, or if they do not agree.
    """
    data = _read(path)
    manifest = _manifest(path.with_suffix(".json"))
    chip = CHIPS.get(str(manifest["board"]))
    if chip is None:
        known = ", ".join(CHIPS)
        raise _refuse(path, f"it is for the board {manifest['board']}", f"Known here: {known}.")
    if hashlib.sha256(data).hexdigest() != manifest["uf2_sha256"]:
        raise _refuse(path, "its SHA-256 is not the one in its manifest", _REBUILD)
    _check_blocks(path, data, chip.family)
    return Image(path, data, chip, str(manifest["firmware"]), str(manifest["protocol"]))


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise _refuse(path, f"it cannot be read ({error.strerror})", "Name a UF2 file.") from error


def _manifest(path: Path) -> Mapping[str, Any]:
    try:
        manifest = json.loads(_read(path))
    except ValueError as error:
        raise _refuse(path, f"this is no manifest ({error})", _REBUILD) from error
    wanted = ("board", "firmware", "protocol", "uf2_sha256")
    missing = [key for key in wanted if not isinstance(manifest, dict) or key not in manifest]
    if missing:
        raise _refuse(path, f"the manifest does not say {', '.join(missing)}", _REBUILD)
    found: Mapping[str, Any] = manifest
    return found


def _check_blocks(path: Path, data: bytes, family: int) -> None:
    """Whole, in order, all of one family, for flash: what the boot ROM asks of UF2 blocks."""
    count, rest = divmod(len(data), _BLOCK.size)
    if rest or not count:
        raise _refuse(path, f"{len(data)} bytes are no whole UF2 blocks", _REBUILD)
    begin = _BLOCK.unpack_from(data)[3]
    for number, block in enumerate(_BLOCK.iter_unpack(data)):
        head0, head1, flags, target, size, index, total, of_family, _, tail = block
        good = (
            (head0, head1, tail) == _MAGICS
            and flags & (_NOT_MAIN_FLASH | _FAMILY_PRESENT) == _FAMILY_PRESENT
            and (target, size) == (begin + number * _PAYLOAD, _PAYLOAD)
            and (index, total, of_family) == (number, count, family)
        )
        if not good:
            raise _refuse(path, f"UF2 block {number} is not what the chip takes", _REBUILD)


def _refuse(path: Path, problem: str, remedy: str) -> FileError:
    return FileError(Place(str(path)), problem, remedy)

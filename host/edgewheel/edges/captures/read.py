"""Any capture file: what kind it is follows from what is in it, not from its name."""

from __future__ import annotations

from pathlib import Path

from edgewheel.edges.captures.capture import Capture
from edgewheel.edges.captures.options import ReadOptions
from edgewheel.edges.captures.periods import periods_column, read_periods
from edgewheel.edges.captures.tables import read_table
from edgewheel.edges.captures.text import layout_of
from edgewheel.edges.captures.vcdfile import read_vcd
from edgewheel.edges.captures.wav import read_wav
from edgewheel.errors import FileError, Place


def read_capture(path: Path, options: ReadOptions | None = None) -> Capture:
    """The capture in a VCD, WAV or text file. Raises FileError that says what was found."""
    options = options or ReadOptions()
    head = _head(path)
    if head.startswith(b"RIFF"):
        return read_wav(path, options)
    if head.lstrip().startswith(b"$") or path.suffix.lower() == ".vcd":
        return read_vcd(path, options)
    layout = layout_of(path, options)
    if periods_column(layout, options) is not None:
        return read_periods(path, layout, options)
    return read_table(path, layout, options)


def _head(path: Path) -> bytes:
    place = Place(str(path))
    try:
        with path.open("rb") as file:
            return file.read(256)
    except FileNotFoundError as error:
        raise FileError(place, "there is no such file", "Check the name and the folder.") from error
    except IsADirectoryError as error:
        raise FileError(place, "this is a folder", "Name a file in it.") from error
    except OSError as error:
        reason = error.strerror or str(error)
        raise FileError(place, f"the file cannot be read: {reason}", "Check its rights.") from error

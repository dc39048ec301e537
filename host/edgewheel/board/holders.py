"""Who may open a port, and who has it open: what to type follows from that."""

from __future__ import annotations

import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

_PROCESSES = Path("/proc")


@dataclass(frozen=True)
class Holder:
    """A process that has a port open."""

    pid: int
    name: str

    def __str__(self) -> str:
        return f"{self.pid} ({self.name})"


def holders(port: str) -> tuple[Holder, ...]:
    """The other processes that have a port open, as far as this user may know (Linux)."""
    device = os.path.realpath(port)
    found = []
    for folder in _PROCESSES.glob("[0-9]*"):
        if int(folder.name) != os.getpid() and _has_open(folder, device):
            name = "?"
            with suppress(OSError):
                name = (folder / "comm").read_text(encoding="utf-8", errors="replace").strip()
            found.append(Holder(int(folder.name), name))
    return tuple(sorted(found, key=lambda holder: holder.pid))


def may_open(port: str) -> bool:
    """May this user read and write the device file?"""
    return os.access(port, os.R_OK | os.W_OK)


def owning_group(port: str) -> str:
    """The group that owns a device file, '' where there are none."""
    try:
        return Path(port).group()
    except (OSError, KeyError, NotImplementedError):
        return ""


def _has_open(folder: Path, device: str) -> bool:
    with suppress(OSError):
        for link in (folder / "fd").iterdir():
            with suppress(OSError):
                if str(link.readlink()) == device:
                    return True
    return False

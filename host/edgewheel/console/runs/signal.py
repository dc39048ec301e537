"""The signal around a loss, drawn in characters: pins, sound wheel, and the edges misread."""

from __future__ import annotations

from bisect import bisect
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil
from statistics import median
from typing import Any

from edgewheel.console.strip import BOTH, CELLS, LABEL, LEAST_CELLS
from edgewheel.report.model import Evidence
from edgewheel.report.pictures.waveform import why

MOST_STRETCHES = 5
"""One below the other; a longer signal is drawn in wider cells."""

MOST_MARKS = 12
MARK, LOSS = "▲", "▼"
MS = 1000.0


@dataclass(frozen=True)
class Stretch:
    """A part of the time shown, on lines of so many cells."""

    begin_s: float
    cell_s: float
    columns: int

    def column(self, seconds: float) -> int | None:
        """The cell of a moment, None if it lies in another stretch."""
        cell = int((seconds - self.begin_s) // self.cell_s)
        return cell if 0 <= cell < self.columns else None


def signal_lines(evidence: Evidence, width: int) -> list[str]:
    """Evidence as `search.waveform` makes it; its drawing is at most `width` characters wide."""
    loss_s = float(evidence["loss"])
    reason = evidence.get("reason") or "none"
    says = "" if reason == "none" else f" (it says: {reason})"
    lines = [f"Sync lost at {loss_s:.3f} s, {evidence['rpm']:.0f} rpm{says}.", why(evidence)]
    lines += [f"{LOSS} is the loss, at the left stand milliseconds from it.", ""]
    for stretch in _stretches(evidence, width):
        lines += [*_drawn(evidence, stretch), ""]
    return lines + list(_told(evidence["marked"], loss_s))


def _stretches(evidence: Evidence, width: int) -> list[Stretch]:
    """Cells about as long as a sound tooth, in as few stretches as will do."""
    begin_s, end_s = float(evidence["begin"]), float(evidence["end"])
    columns = max(width - LABEL - 1, LEAST_CELLS)
    tracks = evidence["sound"] or evidence["tracks"]
    gaps = [later - edge for track in tracks for edge, later in pairwise(track["edges"])]
    least_s = max(end_s - begin_s, 1e-6) / (columns * MOST_STRETCHES)
    cell_s = max(median(gaps), least_s) if gaps else MOST_STRETCHES * least_s
    count = ceil((end_s - begin_s) / cell_s)
    return [
        Stretch(begin_s + first * cell_s, cell_s, min(columns, count - first))
        for first in range(0, count, columns)
    ]


def _drawn(evidence: Evidence, stretch: Stretch) -> Iterator[str]:
    """A ruler with the loss, then each track: the pin, its misread edges, the sound wheel."""
    loss_s = float(evidence["loss"])
    begin = f"{(stretch.begin_s - loss_s) * MS:+.1f}"
    yield f"{begin:{LABEL}s} {_marks([loss_s], stretch, LOSS, '╌')}"
    sound = {track["name"]: track for track in evidence["sound"]}
    for track in evidence["tracks"]:
        name = track["name"]
        pin = cells(track, stretch)
        yield f"{name[:LABEL]:{LABEL}s} {pin}"
        missed = [one["seconds"] for one in evidence["marked"] if one["track"] == name]
        if any(stretch.column(seconds) is not None for seconds in missed):
            yield f"{'misread':{LABEL}s} {_marks(missed, stretch, MARK, ' ').rstrip()}"
        if name in sound and (wanted := cells(sound[name], stretch)) != pin:
            yield f"{'sound':{LABEL}s} {wanted}"


def cells(track: dict[str, Any], stretch: Stretch) -> str:
    """A track's level, two halves a cell; a cell is shaded where a pulse is too short for one."""
    half_s = stretch.cell_s / 2
    halves = 2 * stretch.columns
    ends = [bisect(track["edges"], stretch.begin_s + half_s * n) for n in range(halves + 1)]
    middles = (stretch.begin_s + half_s * (n + 0.5) for n in range(halves))
    levels = [track["initial"] ^ bisect(track["edges"], middle) & 1 for middle in middles]
    crowded = [after - before > 1 for before, after in pairwise(ends)]
    return "".join(
        BOTH if crowded[left] or crowded[left + 1] else CELLS[levels[left] * 2 + levels[left + 1]]
        for left in range(0, halves, 2)
    )


def _marks(moments: Sequence[float], stretch: Stretch, mark: str, empty: str) -> str:
    line = [empty] * stretch.columns
    for seconds in moments:
        column = stretch.column(seconds)
        if column is not None:
            line[column] = mark
    return "".join(line)


def _told(marks: Sequence[dict[str, Any]], loss_s: float) -> Iterator[str]:
    """Misread edges, a line each, in milliseconds from the loss; the cause is among the first."""
    if len(marks) > MOST_MARKS:
        yield f"{len(marks)} misread edges, the first {MOST_MARKS} of them:"
    for one in marks[:MOST_MARKS]:
        at = f"{(one['seconds'] - loss_s) * MS:+.3f} ms"
        yield f"{MARK} {at:>12s}  {one['track']}: an edge {one['why']}"

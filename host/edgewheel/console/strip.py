"""The tracks of a wheel against crank angle, drawn in characters."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from edgewheel.wheel.model import Track, Wheel

CELLS = " ▐▌█"
"""By (left half is metal) * 2 + (right half is metal)."""

AIR, BOTH, METAL = " ▒█"
"""What a cell holds where it is wider than a pitch."""

LABEL = 7
LEAST_CELLS = 24
TURN_DEG = 360


@dataclass(frozen=True)
class Strip:
    """A stretch of crank angle, all tracks of it: `columns` cells from `begin_deg` on."""

    begin_deg: int
    degrees: int
    columns: int
    rows: tuple[tuple[str, str], ...]
    """(label, cells) of each track."""
    marks: str
    """Where cylinders have their top dead centre."""

    def cursor(self, crank_deg: float) -> int | None:
        """The column of a crank angle, None if it is not in this stretch."""
        within = crank_deg - self.begin_deg
        if not 0 <= within < self.degrees:
            return None
        return int(within / self.degrees * self.columns)


def strips(wheel: Wheel, width: int, most_rows: int) -> tuple[Strip, ...]:
    """The wheel's period in one stretch, or a stretch a turn where teeth would not be told apart.

    `width` and `most_rows` are the room there is, in characters.
    """
    room = max(width - LABEL - 1, LEAST_CELLS)
    turns = wheel.period // TURN_DEG
    fine = _columns(wheel, wheel.period, room)
    rows_folded = turns * (len(wheel.tracks) + 1)
    if turns == 1 or fine is not None or rows_folded > most_rows:
        return (_strip(wheel, 0, wheel.period, fine or room),)
    columns = _columns(wheel, TURN_DEG, room) or room
    return tuple(_strip(wheel, turn * TURN_DEG, TURN_DEG, columns) for turn in range(turns))


def _columns(wheel: Wheel, degrees: int, room: int) -> int | None:
    """Cells that a whole number of goes into each pitch, None if the room is not enough."""
    pitch = min((_pitch(track) for track in wheel.tracks), default=Fraction(degrees))
    pitches = round(degrees / pitch)
    if pitches == 0 or pitches > room:
        return None
    return room // pitches * pitches


def _pitch(track: Track) -> Fraction:
    """The least distance of two tooth beginnings, in crank degrees."""
    scale = track.crank_degrees_per_turn / TURN_DEG
    begins = [tooth.begin for tooth in track.teeth]
    later = [*begins[1:], begins[0] + TURN_DEG] if begins else []
    return min((b - a for a, b in zip(begins, later, strict=True)), default=Fraction(360)) * scale


def _strip(wheel: Wheel, begin: int, degrees: int, columns: int) -> Strip:
    rows = tuple(
        (track.name[:LABEL], _cells(track, wheel.period, begin, degrees, columns))
        for track in wheel.tracks
    )
    return Strip(begin, degrees, columns, rows, _marks(wheel, begin, degrees, columns))


def _cells(track: Track, period: int, begin: int, degrees: int, columns: int) -> str:
    """Half a cell is metal if most of it is; cells wider than a pitch are shaded."""
    if degrees / columns > _pitch(track):
        return "".join(map(_shade, _metal(track, period, begin, degrees, columns)))
    is_metal = [share >= 0.5 for share in _metal(track, period, begin, degrees, 2 * columns)]
    pairs = zip(is_metal[::2], is_metal[1::2], strict=True)
    return "".join(CELLS[left * 2 + right] for left, right in pairs)


def _shade(share: float) -> str:
    return AIR if share < 0.15 else METAL if share > 0.85 else BOTH


def _metal(track: Track, period: int, begin: int, degrees: int, cells: int) -> list[float]:
    """The share of each cell that is metal."""
    cell_deg = degrees / cells
    metal = [0.0] * cells
    for tooth in track.crank_teeth(period):
        for shift in (-period, 0):
            low = (float(tooth.begin) + shift - begin) / cell_deg
            high = (float(tooth.end) + shift - begin) / cell_deg
            for cell in range(max(int(low), 0), min(int(high) + 1, cells)):
                metal[cell] += max(min(high, cell + 1) - max(low, cell), 0.0)
    return metal


def _marks(wheel: Wheel, begin: int, degrees: int, columns: int) -> str:
    """A triangle at each top dead centre, its cylinder beside it."""
    line = ["╌"] * columns
    for turn in range(-1, 2):
        for cylinder, angle in wheel.tdc:
            within = float(angle) + turn * wheel.period - begin
            column = int(within / degrees * columns)
            if 0 <= within < degrees:
                text = f"▼{cylinder}"[: columns - column]
                line[column : column + len(text)] = text
    return "".join(line)

"""From edge numbers to ticks within one segment: exact origins, floats only within a block.

The ideal time of an edge is rounded to a tick once. At constant speed without ripple the ticks are
those of rational arithmetic; else they are within half a tick plus 1e-6 of the ideal time. Blocks
are cut at fixed edge numbers, so no tick depends on which edges were asked for together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from edgewheel.edges.phase import BLOCK_EDGES, Floats, PhaseTable
from edgewheel.edges.table import Ticks
from edgewheel.motion.motion import Placed
from edgewheel.motion.segment import DEG_PER_S_PER_RPM

LONGEST_PART_TICKS = 1 << 30
"""A float carries this many ticks with an error below 1e-6 of one."""

FIXED_BITS = 256
"""Binary places of origins: the square root of a speed near rest keeps half of them."""

_FIXED_ONE = 1 << FIXED_BITS
_EXACT_LIMIT = 1 << 61


@dataclass(frozen=True)
class Block:
    """Edges number * size to (number + 1) * size; `size` is a power of two."""

    number: int
    size: int

    @property
    def begin(self) -> int:
        return self.number * self.size

    @property
    def end(self) -> int:
        return self.begin + self.size

    def halves(self) -> tuple[Block, Block]:
        half = self.size // 2
        return Block(2 * self.number, half), Block(2 * self.number + 1, half)


@dataclass(frozen=True)
class RampOrigin:
    """An edge at tick `whole` + `part`, from which the others of its block are reckoned.

    With d degrees from here, w the speed here and a the rate, t = 2 d / (w + sqrt(w^2 + 2 a d)) is
    written as d / w - d / w x / (1 + sqrt(1 + x))^2, x = 2 a d / w^2. The first term is linear
    and exact: `per_unit` whole ticks and `rest` of one for each unit of angle. The second is what
    floats have to carry, and cancels nothing. `bend` is 2 a / w^2. An origin at rest has no other
    edges.
    """

    edge: int
    whole: int
    part: float
    per_unit: int
    rest: float
    per_deg: float
    bend: float
    deg_per_unit: float

    def parts(self, units: Ticks, lead_deg: Floats | None) -> Floats:
        """Ticks (n,) beyond `whole` and `units` (n,) times `per_unit`."""
        degrees: Floats = np.multiply(units, self.deg_per_unit, dtype=np.float64)
        parts: Floats = np.multiply(units, self.rest, dtype=np.float64)
        if lead_deg is not None:
            degrees += lead_deg
            parts += lead_deg * self.per_deg
        x = degrees * self.bend
        root = np.maximum(x + 1, 0)
        np.sqrt(root, out=root)
        root += 1
        root *= root
        x /= root
        degrees *= self.per_deg
        x *= degrees
        parts -= x
        parts += self.part
        return parts


class SegmentTicks:
    """The ticks of the edges that fall into one placed segment of a motion."""

    def __init__(self, placed: Placed, phase: PhaseTable, tick_hz: int) -> None:
        segment = placed.segment
        self._phase = phase
        self._tick_hz = tick_hz
        self._begin_tick = placed.begin_s * tick_hz
        self._begin_deg = placed.begin_mean_deg - phase.origin_deg
        self._direction = segment.direction
        self._speed = segment.rpm_begin * DEG_PER_S_PER_RPM
        self._rate = segment.rpm_per_s * DEG_PER_S_PER_RPM
        self._rate_float = float(self._rate)
        self._low, self._high = sorted(
            phase.gap(deg, self._direction) for deg in (placed.begin_mean_deg, placed.end_mean_deg)
        )
        self._origins: dict[Block, RampOrigin | None] = {}
        if self._rate == 0 and self._direction:
            self._prepare_hold()

    def ticks(self, begin: int, end: int) -> Ticks:
        """Ticks (end - begin,) of edges begin to end, not none; in edge order even in reverse."""
        compute = self._ramp_block if self._rate else self._hold_block
        blocks = []
        while begin < end:
            block = Block(begin // BLOCK_EDGES, BLOCK_EDGES)
            stop = min(end, block.end)
            blocks.append(compute(begin, stop, block))
            begin = stop
        return blocks[0] if len(blocks) == 1 else np.concatenate(blocks)

    def _prepare_hold(self) -> None:
        """Split each column's offset in ticks into whole ticks and `rest` / `denominator`."""
        phase = self._phase
        per_deg = Fraction(self._tick_hz) / self._speed
        per_unit = per_deg / phase.units_per_deg
        self._origin = self._begin_tick - self._begin_deg * per_deg
        self._step = phase.super_deg * per_deg
        denominator = math.lcm(
            per_unit.denominator, self._origin.denominator, self._step.denominator
        )
        self._exact = not phase.rippled and denominator < _EXACT_LIMIT // BLOCK_EDGES
        self._denominator = denominator if self._exact else per_unit.denominator
        whole, rest = _divided(phase.units, per_unit)
        self._whole = np.array(whole, np.int64)
        if self._exact:
            self._rest = np.array(rest, np.int64) * (denominator // per_unit.denominator)
        else:
            self._part = np.array(rest, np.float64) / per_unit.denominator
            self._part += phase.lead_deg * float(per_deg)

    def _hold_block(self, begin: int, end: int, block: Block) -> Ticks:
        n = self._phase.n
        first_row = block.begin // n
        rows = np.arange(begin // n - first_row, (end - 1) // n + 1 - first_row, dtype=np.int64)
        origin = self._origin + first_row * self._step
        table = self._exact_rows(origin, rows) if self._exact else self._float_rows(origin, rows)
        skip = begin % n
        return table.reshape(-1)[skip : skip + end - begin]

    def _exact_rows(self, origin: Fraction, rows: Ticks) -> Ticks:
        """Ticks (rows, n) by integers alone, ties to even."""
        denominator = self._denominator
        whole, rest = _split(origin, denominator)
        step_whole, step_rest = _split(self._step, denominator)
        carry, rests = np.divmod(rest + rows * step_rest, denominator)
        ticks: Ticks = (whole + rows * step_whole + carry)[:, None] + self._whole
        if denominator == 1:
            return ticks
        doubled = (2 * rests)[:, None] + 2 * self._rest
        if denominator % 2:
            ticks += doubled > denominator
            ticks += doubled > 3 * denominator
            return ticks
        odd = ticks & 1
        ticks += doubled + odd > denominator
        ticks += doubled - odd >= 3 * denominator
        return ticks

    def _float_rows(self, origin: Fraction, rows: Ticks) -> Ticks:
        """Ticks (rows, n) with exact whole ticks and float fractions."""
        whole, rest = divmod(origin, 1)
        step_whole, step_rest = divmod(self._step, 1)
        parts = float(rest) + rows * float(step_rest)
        ticks: Ticks = (int(whole) + rows * int(step_whole))[:, None] + self._whole
        table = parts[:, None] + self._part
        np.rint(table, out=table)
        ticks += table.astype(np.int64)
        return ticks

    def _ramp_block(self, begin: int, end: int, block: Block) -> Ticks:
        origin = self._ramp_origin(block)
        if origin is None:
            halves = [
                self._ramp_block(max(begin, half.begin), min(end, half.end), half)
                for half in block.halves()
                if begin < half.end and half.begin < end
            ]
            return np.concatenate(halves)
        units, lead_deg = self._phase.between(origin.edge, begin, end)
        parts = origin.parts(units, lead_deg)
        np.rint(parts, out=parts)
        ticks = units * origin.per_unit
        ticks += parts.astype(np.int64)
        ticks += origin.whole
        return ticks

    def _ramp_origin(self, block: Block) -> RampOrigin | None:
        """The origin amid the block's edges in the segment; None if floats would not carry it."""
        if block not in self._origins:
            first, last = max(block.begin, self._low), min(block.end, self._high) - 1
            origin = self._origin_at((first + last) // 2)
            fits = self._longest_part(origin, first, last) <= LONGEST_PART_TICKS
            self._origins[block] = origin if first == last or fits else None
        return self._origins[block]

    def _longest_part(self, origin: RampOrigin, *edges: int) -> float:
        """The most ticks from the origin to any of these edges that are left to floats."""
        if not origin.per_deg:
            return math.inf
        ends = (self._phase.between(origin.edge, edge, edge + 1) for edge in edges)
        return max(float(abs(origin.parts(*end)[0])) for end in ends)

    def _origin_at(self, edge: int) -> RampOrigin:
        """The exact tick of an edge and the speed there: t = 2 u / (w + sqrt(w^2 + 2 a u)).

        In integers of 2^-256, for fractions would spend their time on common divisors.
        """
        turned = _fixed(self._phase.edge_deg(edge) - self._begin_deg)
        if turned * self._direction < 0:
            turned = 0
        begin_speed = _fixed(self._speed)
        squared = begin_speed**2 + 2 * _fixed(self._rate) * turned
        speed = self._direction * math.isqrt(max(squared, 0))
        both = begin_speed + speed
        seconds = (2 * turned << FIXED_BITS) // both if both else 0
        tick = _fixed(self._begin_tick) + seconds * self._tick_hz
        part = (tick & _FIXED_ONE - 1) / _FIXED_ONE
        return self._moving(edge, tick >> FIXED_BITS, part, speed)

    def _moving(self, edge: int, whole: int, part: float, speed: int) -> RampOrigin:
        """The origin at an edge that passes at a speed (degrees/s in units of 2^-256)."""
        if not speed:
            return RampOrigin(edge, whole, part, 0, 0.0, 0.0, 0.0, 0.0)
        units_per_deg = self._phase.units_per_deg
        per_unit = (self._tick_hz << 2 * FIXED_BITS) // (speed * units_per_deg)
        nearest = (per_unit + (_FIXED_ONE >> 1)) >> FIXED_BITS
        rest = (per_unit - (nearest << FIXED_BITS)) / _FIXED_ONE
        per_deg = per_unit * units_per_deg / _FIXED_ONE
        bend = 2 * self._rate_float / (speed / _FIXED_ONE) ** 2
        return RampOrigin(edge, whole, part, nearest, rest, per_deg, bend, 1 / units_per_deg)


def _fixed(value: Fraction) -> int:
    """A number in units of 2^-256, rounded down."""
    return (value.numerator << FIXED_BITS) // value.denominator


def _divided(units: Ticks, per_unit: Fraction) -> tuple[list[int], list[int]]:
    """Whole part and rest of each of `units` times `per_unit`, the rest over its denominator."""
    pairs = [divmod(unit * per_unit.numerator, per_unit.denominator) for unit in units.tolist()]
    return [whole for whole, _ in pairs], [rest for _, rest in pairs]


def _split(value: Fraction, denominator: int) -> tuple[int, int]:
    """Whole part and rest over a denominator that the value's own divides."""
    return divmod(value.numerator * (denominator // value.denominator), denominator)

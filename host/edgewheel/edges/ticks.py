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

LONGEST_BLOCK_TICKS = 1 << 30
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
    """An edge at tick `whole` + `part`, where the crank turns at `speed` (degrees/s, signed)."""

    edge: int
    whole: int
    part: float
    speed: float


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
            phase.gap(deg) for deg in (placed.begin_mean_deg, placed.end_mean_deg)
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
        ticks += np.rint(parts[:, None] + self._part).astype(np.int64)
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
        degrees = self._phase.degrees_between(origin.edge, begin, end)
        parts = _seconds(degrees, origin.speed, self._rate_float)
        parts *= self._tick_hz
        parts += origin.part
        ticks = np.rint(parts, out=parts).astype(np.int64)
        ticks += origin.whole
        return ticks

    def _ramp_origin(self, block: Block) -> RampOrigin | None:
        """The origin amid the block's edges in the segment; None if floats would not carry it."""
        if block not in self._origins:
            first, last = max(block.begin, self._low), min(block.end, self._high) - 1
            origin = self._origin_at((first + last) // 2)
            ends = [self._phase.degrees_between(origin.edge, e, e + 1) for e in (first, last)]
            span = np.abs(_seconds(np.concatenate(ends), origin.speed, self._rate_float)).max()
            too_long = first < last and span * self._tick_hz > LONGEST_BLOCK_TICKS
            self._origins[block] = None if too_long else origin
        return self._origins[block]

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
        return RampOrigin(edge, tick >> FIXED_BITS, part, speed / _FIXED_ONE)


def _seconds(degrees: Floats, speed: float, rate: float) -> Floats:
    """Seconds (n,) to turn `degrees` (n,) from `speed` (degrees/s) at `rate` (degrees/s^2).

    The stable root of speed t + rate t^2 / 2 = degrees (Press et al., Numerical Recipes, section
    5.6). Overwrites `degrees`.
    """
    both = degrees * (2 * rate)
    both += speed * speed
    np.maximum(both, 0, out=both)
    np.sqrt(both, out=both)
    if speed < 0 or (speed == 0 and rate < 0):
        np.negative(both, out=both)
    both += speed
    degrees *= 2
    return np.divide(degrees, both, out=degrees, where=both != 0)


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

"""Uneven speed that repeats with the crank, told apart from teeth that stand wrong.

Ripple is smooth round the turn, a wrong tooth is not: the orders that stand out are fitted, what
they leave is the wheel's.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np

from edgewheel.learn.course import MAD_TO_SIGMA
from edgewheel.learn.streams import Floats, Ints, median
from edgewheel.motion.ripple import CompressionRipple

MOST_ORDERS = 24
"""Swings within a repeat of the pattern that are sought."""

FEW = 12
"""With as few teeth, unlike teeth and ripple cannot be told apart at one speed."""

FINE = 10**6
"""Angles and depths are rounded to this part of one."""

LEAST_AMPLITUDE = 0.004
"""Slots; what swings less is the clock's rounding."""


@dataclass(frozen=True, eq=False)
class Swing:
    """How late teeth come through ripple, in slots: cosine and sine of each order in a period."""

    period: int
    orders: tuple[int, ...] = ()
    cosines: tuple[float, ...] = ()
    sines: tuple[float, ...] = ()
    amplitudes: tuple[float, ...] = field(default=(), init=False)

    def __post_init__(self) -> None:
        sizes = tuple(float(np.hypot(c, s)) for c, s in zip(self.cosines, self.sines, strict=True))
        object.__setattr__(self, "amplitudes", sizes)

    def late(self, places: Floats) -> Floats:
        """Slots by which an edge at each of `places` (n,), in slots, comes late."""
        turn = 2 * np.pi * np.asarray(places) / self.period
        total = np.zeros(len(turn))
        for order, c, s in zip(self.orders, self.cosines, self.sines, strict=True):
            total += c * np.cos(order * turn) + s * np.sin(order * turn)
        return total

    def undone(self, seen: Floats) -> Floats:
        """Where edges (n,) are that ripple makes seem to be at these places, in slots."""
        places = seen
        for _ in range(8):
            places = seen - self.late(places)
        return places

    def moved(self, by: float) -> Swing:
        """The same ripple `by` slots further on."""
        turns = 2 * np.pi * by * np.array(self.orders) / self.period
        turned = (np.array(self.cosines) + 1j * np.array(self.sines)) * np.exp(1j * turns)
        return Swing(self.period, self.orders, tuple(turned.real), tuple(turned.imag))

    def depth(self, number: int) -> float:
        """The ripple depth that an order means: late is amplitude cos(order x angle), and the speed
        swings by order times that, in radians.
        """
        turn = 2 * np.pi * self.amplitudes[number] / self.period
        return float(self.orders[number] * turn)


def fit_swing(late: Floats, noise: float) -> Swing:
    """The ripple in how late the teeth (n,) of a period come, NaN where there is none.

    Orders are added while they take out most of what is left, as long as there are four teeth for
    each; a few teeth that stand wrong do not bend the fit. `noise` is the error of `late` in slots.
    """
    period = len(late)
    places = np.flatnonzero(~np.isnan(late)).astype(np.int64)
    values = late[places]
    highest = min(MOST_ORDERS, len(places) // 3)
    fitted, left = Swing(period), _size(values)
    while 4 * len(fitted.orders) + 6 <= len(places) and len(fitted.orders) < 6:
        trials = [
            fit_orders(values, places, period, [*fitted.orders, order])
            for order in range(1, highest + 1)
            if order not in fitted.orders
        ]
        if not trials:
            break
        sizes = [_size(values - trial.late(places.astype(float))) for trial in trials]
        best = trials[int(np.argmin(sizes))]
        if min(sizes) > 0.75 * left or best.amplitudes[-1] < max(3 * noise, LEAST_AMPLITUDE):
            break
        fitted, left = best, min(sizes)
    return fitted


def fit_orders(values: Floats, places: Ints, period: int, orders: list[int]) -> Swing:
    """The orders' least squares fit, wrong teeth weighed down (Huber's weights, reweighted)."""
    turn = 2 * np.pi * places / period
    columns = [np.ones(len(places))]
    for order in orders:
        columns += [np.cos(order * turn), np.sin(order * turn)]
    matrix = np.stack(columns, axis=1)
    weights = np.ones(len(places))
    for _ in range(5):
        root = np.sqrt(weights)[:, None]
        solution = np.linalg.lstsq(matrix * root, values * root[:, 0], rcond=None)[0]
        rest = values - matrix @ solution
        scale = 1.5 * _size(rest) + 1e-9
        weights = np.minimum(1.0, scale / np.maximum(np.abs(rest), 1e-12))
    return Swing(period, tuple(orders), tuple(solution[1::2]), tuple(solution[2::2]))


def _size(rest: Floats) -> float:
    """The usual size of residuals, robustly."""
    return MAD_TO_SIGMA * median(np.abs(rest - median(rest)))


def compression_ripple(swing: Swing, slot_deg: float, zero_deg: float) -> CompressionRipple | None:
    """The deepest order as a ripple in the angles of a wheel whose 0 is at `zero_deg`.

    Late by 2 b / m sin m (angle - slowest) radians to the first order, with the speed's depth
    d = 2 b / (1 + b^2), m swings a turn; see :class:`CompressionRipple`.
    """
    if not swing.orders:
        return None
    deepest = int(np.argmax(swing.amplitudes))
    order, cosine, sine = swing.orders[deepest], swing.cosines[deepest], swing.sines[deepest]
    per_turn = Fraction(round(2 * order * 360 / (swing.period * slot_deg)), 2)
    beta = np.radians(swing.amplitudes[deepest] * slot_deg) * float(per_turn) / 2
    phase = np.arctan2(-cosine, sine) / order / (2 * np.pi) * swing.period * slot_deg
    if not per_turn or beta >= 1:
        return None
    depth = Fraction(round(2 * beta / (1 + beta**2) * FINE), FINE)
    slowest = Fraction(round(float((phase - zero_deg) % 720) * FINE), FINE)
    return CompressionRipple(depth, per_turn, slowest) if depth else None

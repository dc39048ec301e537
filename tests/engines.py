"""Engines that several tests turn: an invented two-litre four and what can be varied of it."""

from fractions import Fraction

from edgewheel.motion.engine import Cylinder, Engine

CYLINDER = Cylinder(Fraction(86), Fraction(86), Fraction(143), Fraction(10))


def four(inertia: str = "0.6", losses: tuple[tuple[int, Fraction], ...] = ()) -> Engine:
    """Four cylinders, firing 1 3 4 2, the first TDC at 84 degrees."""
    firing = tuple((one, Fraction(84 + 180 * n)) for n, one in enumerate((1, 3, 4, 2)))
    return Engine(CYLINDER, firing, Fraction(inertia), losses=losses)

"""The border of a region in two dimensions, refined where it is and nowhere else.

The map is a square lattice of `2**depth + 1` points a side. It begins with a coarse lattice; a
square of which known points disagree is quartered, down to the finest; so is every square that a
point found on its rim contradicts, so a border is followed into squares whose corners do not show
it. That is the region quadtree of
R. A. Finkel and J. L. Bentley, "Quad trees", Acta Informatica 4 (1974), on a lattice instead of a
set of points.

This module asks for points and is told answers; it plays nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

FEWEST_HALVINGS, MOST_HALVINGS = 1, 8
"""Of each range; more would take days."""

INFERRED_SIDE = 4
"""In squares up to this side nothing is tried half way between two points that agree: what could
hide there is small. In larger ones it could be a bay."""

Point = tuple[int, int]
"""Column and row on the finest lattice, from 0 to `2**depth`."""


@dataclass(frozen=True)
class Square:
    """A square of the lattice: its corner nearest to (0, 0), and its side in finest steps."""

    column: int
    row: int
    side: int

    def corners(self) -> tuple[Point, Point, Point, Point]:
        """(0, 0) first, then along the columns."""
        far_column, far_row = self.column + self.side, self.row + self.side
        return (
            (self.column, self.row),
            (far_column, self.row),
            (self.column, far_row),
            (far_column, far_row),
        )

    def quarters(self) -> tuple[Square, ...]:
        """The four squares of half the side."""
        half = self.side // 2
        return tuple(
            Square(column, row, half)
            for row in (self.row, self.row + half)
            for column in (self.column, self.column + half)
        )

    def edges(self) -> tuple[tuple[Point, Point], ...]:
        """The ends of its four edges."""
        a, b, c, d = self.corners()
        return ((a, b), (a, c), (b, d), (c, d))

    def centre(self) -> Point:
        """The point in its middle, for an even side."""
        return (self.column + self.side // 2, self.row + self.side // 2)

    def holds(self, point: Point) -> bool:
        """Whether a point lies in it or on its rim."""
        column, row = point
        return (
            self.column <= column <= self.column + self.side
            and self.row <= row <= self.row + self.side
        )


class Border:
    """Ask `pending()`, try them in that order, `tell()` each; done when none is pending."""

    def __init__(self, depth: int = 6, coarse: int = 2, seed: int = 0) -> None:
        """`2**depth` steps a side, begun with `2**coarse`. Raises ValueError for a finer begin."""
        if not 0 <= coarse <= depth:
            raise ValueError(f"a lattice of depth {depth} cannot begin at {coarse}")
        self.size = 2**depth
        side = self.size >> coarse
        starts = range(0, self.size, side)
        self.squares = [Square(column, row, side) for row in starts for column in starts]
        self.known: dict[Point, bool] = {}
        self._inferred: dict[Point, float] = {}
        self._wanted = {corner for square in self.squares for corner in square.corners()}
        self._divided: list[Square] = []
        self._random = Random(seed)

    def pending(self) -> list[Point]:
        """The points of the next round, in random order, so that no drift passes for a border."""
        while not (lacking := self._wanted - self.known.keys()):
            self._infer_centres()
            if not self._quarter():
                return []
        ordered = sorted(lacking)
        self._random.shuffle(ordered)
        return ordered

    def tell(self, point: Point, inside: bool) -> None:
        """What was found at a point."""
        self.known[point] = inside

    def value(self, point: Point) -> float:
        """1 inside and 0 outside, as tried or inferred; 0.5 where nobody knows."""
        known = self.known.get(point)
        return float(known) if known is not None else self._inferred.get(point, 0.5)

    def guess(self, column: float, row: float) -> float:
        """How much of it is inside there: between the corners of its square, bilinear."""
        for square in self.squares:
            across, along = column - square.column, row - square.row
            if 0 <= across <= square.side and 0 <= along <= square.side:
                u, v = across / square.side, along / square.side
                a, b, c, d = map(self.value, square.corners())
                return (a * (1 - u) + b * u) * (1 - v) + (c * (1 - u) + d * u) * v
        raise ValueError(f"({column}, {row}) is outside of the map")

    def area(self) -> float:
        """The share of the map that is inside: each square by the mean of its corners."""
        total = sum(
            square.side**2 * sum(map(self.value, square.corners())) / 4 for square in self.squares
        )
        return float(total / self.size**2)

    def share_done(self) -> float:
        """How far it is, from the squares that are still to be divided: an estimate."""
        # A border of n squares crosses 2 n of half the side: 1.5 points for each finest step.
        coming = sum(1.5 * square.side for square in self.squares if self._divisible(square))
        return len(self.known) / max(len(self.known) + coming, 1)

    def _quarter(self) -> bool:
        """Divide the squares that disagree with themselves; whether there was any."""
        self._divided = [square for square in self.squares if self._divisible(square)]
        whole = [square for square in self.squares if not self._divisible(square)]
        for square in self._divided:
            whole += square.quarters()
            self._want_inside(square)
        self.squares = whole
        return bool(self._divided)

    def _want_inside(self, square: Square) -> None:
        """What must be tried in a square to divide it; what lies between equals is inferred."""
        for one, other in square.edges():
            middle = ((one[0] + other[0]) // 2, (one[1] + other[1]) // 2)
            agree = self.value(one) == self.value(other) != 0.5
            if agree and square.side <= INFERRED_SIDE:
                self._inferred[middle] = self.value(one)
            else:
                self._wanted.add(middle)
        if square.side > 2:
            self._wanted.add(square.centre())

    def _infer_centres(self) -> None:
        """At the finest step the border is taken as straight between two known edges."""
        for square in self._divided:
            rim = {point for quarter in square.quarters() for point in quarter.corners()}
            rim.discard(square.centre())
            mean = sum(map(self.value, rim)) / len(rim)
            self._inferred[square.centre()] = 0.5 if mean == 0.5 else float(mean > 0.5)

    def _divisible(self, square: Square) -> bool:
        if square.side == 1:
            return False
        found = {inside for point, inside in self.known.items() if square.holds(point)}
        corners = {self.value(corner) for corner in square.corners()}
        return len(found) > 1 or len(corners) > 1

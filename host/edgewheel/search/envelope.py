"""The envelope: where sync holds and where not, over two numbers of a bench file."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from edgewheel.bench.search_record import Trial
from edgewheel.errors import UsageError
from edgewheel.search.axis import Axis
from edgewheel.search.border import FEWEST_HALVINGS, MOST_HALVINGS, Border, Point
from edgewheel.search.trials import Trials


def refuse_steps(halvings: int, coarse: int) -> None:
    """Raises UsageError for a map that is too coarse or too fine, or begins finer than it ends."""
    if not FEWEST_HALVINGS <= halvings <= MOST_HALVINGS or not 0 <= coarse <= halvings:
        raise UsageError(
            f"Halvings are from {FEWEST_HALVINGS} to {MOST_HALVINGS}, those that it begins with "
            "from 0 to as many; 5 find the border to a 32nd."
        )


class Envelope:
    """An envelope on a bench: iterate over `items()`, then read `border` and `as_data()`."""

    def __init__(
        self, trials: Trials, x: Axis, y: Axis, depth: int, coarse: int, seed: int
    ) -> None:
        if x.address == y.address:
            raise UsageError(f"Both axes are {x.address}. Give two different numbers.")
        self._trials = trials
        self.x = x
        self.y = y
        self.border = Border(depth, coarse, seed)

    def items(self) -> Iterator[tuple[float, float, Trial]]:
        """Each pair of values tried, and its trial. Raises what `Trials.run` raises."""
        while points := self.border.pending():
            for point in points:
                x, y = self._texts(point)
                trial = self._trials.run({self.x.address: x, self.y.address: y})
                self.border.tell(point, trial.passed)
                yield float(x), float(y), trial
        told = {"kind": "envelope", "sentence": self.sentence()}
        self._trials.finish({**told, "envelope": self.as_data()})

    def sentence(self) -> str:
        """The answer in words."""
        full = (self.border.size + 1) ** 2
        return (
            f"Sync holds in {self.border.area():.1%} of the area; {len(self._trials.done)} trials, "
            f"where a full grid as fine has {full}."
        )

    def as_data(self) -> dict[str, Any]:
        """For JSON: the axes, the share of the area in which sync holds, and every trial."""
        return {
            "x": _axis_data(self.x),
            "y": _axis_data(self.y),
            "steps": self.border.size,
            "area_in_sync": self.border.area(),
            "trials": [
                {"x": float(x), "y": float(y), "synced": inside}
                for point, inside in self.border.known.items()
                for x, y in [self._texts(point)]
            ],
        }

    def _texts(self, point: Point) -> tuple[str, str]:
        size = self.border.size
        return self.x.text(point[0] / size), self.y.text(point[1] / size)


def _axis_data(axis: Axis) -> dict[str, Any]:
    return {"address": axis.address, "from": axis.low, "to": axis.high}

"""Searches drawn in characters; the marks differ, not only their places."""

from __future__ import annotations

from collections.abc import Sequence

from edgewheel.bench.search_record import Trial
from edgewheel.console.chart import LABEL
from edgewheel.search.axis import Axis
from edgewheel.search.sweep import PointResult

HELD, LOST, COMING = "○", "✗", "·"

Size = tuple[int, int]


def staircase(
    done: Sequence[PointResult], ends: tuple[float, float], count: int, size: Size
) -> tuple[str, ...]:
    """Speed of each point over its number: a ring where sync held, a cross where it did not."""
    width, height = size
    columns = max(min(width - LABEL - 1, count), 1)
    cells = [[" "] * columns for _ in range(height)]
    low, high = ends
    for result in done:
        column = result.point.number * columns // max(count, 1)
        share = (float(result.point.rpm) - low) / max(high - low, 1)
        cells[round((1 - share) * (height - 1))][column] = HELD if result.held else LOST
    return _labelled(cells, f"{high:g}", f"{low:g}")


def along(axis: Axis, tried: Sequence[tuple[float, Trial]], size: Size) -> tuple[str, ...]:
    """Every trial over the value tried, each in a row of its own, the last ones while they fit."""
    width, height = size
    columns = max(width, 10)
    cells = [[" "] * columns for _ in range(max(height - 1, 1))]
    for number, (value, trial) in enumerate(tried[-len(cells) :]):
        share = (value - axis.low) / (axis.high - axis.low)
        cells[number][round(share * (columns - 1))] = HELD if trial.passed else LOST
    low, high = f"{axis.low:g}", f"{axis.high:g}"
    foot = f"{low}{axis.address:^{max(columns - len(low) - len(high), 0)}s}{high}"
    return (*("".join(row) for row in cells), foot[:columns])


def _labelled(cells: list[list[str]], top: str, bottom: str) -> tuple[str, ...]:
    labels = [""] * len(cells)
    labels[-1], labels[0] = bottom, top
    return tuple(
        f"{label:>{LABEL}s}│{''.join(row)}" for label, row in zip(labels, cells, strict=True)
    )

"""Lines of numbers over time or over a range, drawn in characters: the marks differ, not only the
colours.
"""

from __future__ import annotations

from collections.abc import Sequence

LABEL = 7

Series = tuple[str, Sequence[float | None]]
"""A mark, and a value for each column; None leaves it empty."""


def chart(
    series: Sequence[Series], width: int, height: int, ends: tuple[float, float] | None = None
) -> list[str]:
    """Rows of at most `width` characters: a number at the left end of top and bottom, then marks.

    The last values of each series are drawn, one a column; later series lie over earlier ones. What
    lies beyond `ends` is drawn on the border; without, all values are between them.
    """
    columns = max(width - LABEL - 1, 1)
    shown = [(mark, list(values)[-columns:]) for mark, values in series]
    known = [value for _, values in shown for value in values if value is not None]
    low, high = ends or bounds(known)
    cells = [[" "] * columns for _ in range(height)]
    for mark, values in shown:
        left = columns - len(values)
        for column, value in enumerate(values, left):
            if value is not None:
                cells[_row(value, low, high, height)][column] = mark
    labels = [""] * height
    if known:
        labels[-1], labels[0] = f"{low:.0f}", f"{high:.0f}"
    return [f"{label:>{LABEL}s}│{''.join(row)}" for label, row in zip(labels, cells, strict=True)]


def bounds(values: Sequence[float]) -> tuple[float, float]:
    """Round ends that hold all values, never the same."""
    if not values:
        return 0.0, 1.0
    low, high = min(values), max(values)
    step = 10.0
    while (high - low) / step > 10:
        step *= 10
    low, high = low // step * step, -(-high // step) * step
    return (low, high) if high > low else (low - step, high + step)


def _row(value: float, low: float, high: float, height: int) -> int:
    share = (value - low) / (high - low)
    return min(max(round((1 - share) * (height - 1)), 0), height - 1)

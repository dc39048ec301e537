"""The answer of a sweep in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from edgewheel.search.sweep import SweepResult


def sentence(result: SweepResult) -> str:
    """The answer in words."""
    if result.dropped_rpm is None:
        if result.highest_rpm is None:
            return "no point was reached."
        return f"sync held at every speed up to {float(result.highest_rpm):g} rpm and down again."
    if result.highest_rpm is None:
        text = f"there was no sync even at the lowest speed, {float(result.dropped_rpm):g} rpm"
    else:
        text = (
            f"sync held up to {float(result.highest_rpm):g} rpm and dropped on the way to "
            f"{float(result.dropped_rpm):g} rpm"
        )
    if result.loss is not None:
        text += f", at {result.loss.rpm:.0f} rpm: {result.loss.detail}"
        text += f" (the controller says: {result.loss.reason})" if result.loss.reason else ""
    if result.back_rpm is not None:
        return f"{text}. On the way down it was back at {float(result.back_rpm):g} rpm."
    return f"{text}. It did not come back on the way down."

"""The part of `edgewheel check` that takes a motion: period ratios and the margin between them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from edgewheel.wheel.model import Wheel

if TYPE_CHECKING:
    from edgewheel.edges.motion_ratios import Extreme, MotionRatios

_EDGES = {"rise": "rising edges", "fall": "falling edges", "both": "both edges"}
_NAMES = {
    "ordinary": "ordinary teeth",
    "gap": "across the gap",
    "after a gap": "after the gap",
    "irregular": "uneven teeth",
}


def ratios_of(wheel: Wheel, motion_file: Path) -> MotionRatios:
    """The wheel's period ratios under the motion in a file. Raises FileError, UsageError."""
    from edgewheel.edges.motion_ratios import motion_ratios
    from edgewheel.motion.loader import load_motion

    return motion_ratios(wheel, load_motion(motion_file))


def motion_lines(found: MotionRatios, motion_file: Path) -> Iterator[str]:
    """What the ratios say, line by line."""
    yield f"ratio of successive periods of {found.track}, {_EDGES[found.edge]}, {motion_file.name}:"
    for one in found.ranges:
        least, greatest = one.least, one.greatest
        yield (
            f"  {_NAMES[one.kind]:16}{least.ratio:8.3f} to {greatest.ratio:<8.3f}"
            f"worst at {_place(least if one.kind == 'gap' else greatest)}"
        )
    yield f"  {_margin(found)}"
    if found.edges_lost:
        yield (
            f"  {found.edges_lost} of {found.edges} edges are too weak to be seen; the ratios are "
            "those of a sensor that loses none"
        )


def motion_json(found: MotionRatios) -> dict[str, object]:
    """The same as data."""
    return {
        "track": found.track,
        "edge": found.edge,
        "ratios": {
            one.kind: {
                "count": one.count,
                "least": _extreme_json(one.least),
                "greatest": _extreme_json(one.greatest),
            }
            for one in found.ranges
        },
        "margin": found.margin,
        "limit": found.best_limit,
        "edges": found.edges,
        "edges_lost": found.edges_lost,
    }


def _margin(found: MotionRatios) -> str:
    gap, other = found.of("gap"), found.greatest_other
    if gap is None or other is None or found.margin is None:
        return "no margin: no gap passes between ordinary teeth"
    between = f"gap from {gap.least.ratio:.3f}, anything else up to {other.ratio:.3f}"
    if found.best_limit is None:
        return f"no limit tells the gap under this motion: {between}"
    return f"margin {found.margin:.3f}: {between}; a limit of {found.best_limit:.2f} is in between"


def _place(one: Extreme) -> str:
    return f"tooth {one.tooth}, {one.seconds:.3f} s"


def _extreme_json(one: Extreme) -> dict[str, object]:
    return {"ratio": one.ratio, "tooth": one.tooth, "seconds": one.seconds}

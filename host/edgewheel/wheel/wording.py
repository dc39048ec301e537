"""How angles, edges and landmarks are put into words, the same in checks and drawings."""

from __future__ import annotations

from fractions import Fraction

from edgewheel.wheel.landmarks import Reference


def degrees(angle: Fraction) -> str:
    """An angle to a thousandth of a degree: 84°, 51.429°."""
    return f"{plain(angle)}°"


def plain(angle: Fraction) -> str:
    """A number to three places, without needless zeros."""
    text = f"{float(angle):.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def reference_words(reference: Reference) -> str:
    """The reference tooth, such as "first tooth after the gap on crank"."""
    track = reference.track
    if reference.landmark == "gap":
        return f"first tooth after the gap on {track}"
    if reference.landmark == "odd tooth":
        return f"first tooth after the odd one on {track}"
    if reference.landmark == "other track":
        return f"first tooth on {track} after a tooth on {reference.other}"
    return f"tooth {reference.tooth} on {track}"


def tdc_words(after_edge: Fraction, period: int) -> str:
    """Where TDC stands from an edge, the shorter way round the period."""
    if 2 * after_edge > period:
        return f"{degrees(period - after_edge)} before"
    return f"{degrees(after_edge)} after"

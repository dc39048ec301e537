"""What a fault's number may be, stated beside its field and read by the loader."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True)
class Bounds:
    """The range of a number; `above` is exclusive."""

    minimum: Fraction | int | None = None
    maximum: Fraction | int | None = None
    above: Fraction | int | None = None


@dataclass(frozen=True)
class TrackName:
    """A text that names one of the wheel's tracks."""


@dataclass(frozen=True)
class ToothNumbers:
    """A list of tooth numbers of the fault's track."""

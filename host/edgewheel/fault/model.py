"""What every fault is: a named edit of the motion, of the wheel's metal, or of the edge table."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from typing import Protocol, runtime_checkable

from edgewheel.edges.levels import LevelTable
from edgewheel.edges.phase import Floats
from edgewheel.edges.table import EdgeChunk, EdgeHeader, Ticks
from edgewheel.fault.repetition import Repetition
from edgewheel.fault.window import Window
from edgewheel.motion.motion import Motion
from edgewheel.wheel.angles import Passing
from edgewheel.wheel.model import Sensor, Wheel

MOST_CHANGES = 10_000
"""Changes kept with their place; all are counted."""

SHORTEST_NS = 500
"""No fault brings two edges of a track nearer to each other unless its own numbers ask for it."""

US_PER_S = 1_000_000

Complaint = tuple[str, str]
"""What is wrong, and what to write instead."""


def one_of(vague: str, **numbers: Fraction) -> Complaint | None:
    """What is wrong unless exactly one of the numbers is above 0; `vague`: what is then open."""
    if sum(number > 0 for number in numbers.values()) == 1:
        return None
    return vague, f"Write exactly one of {' and '.join(numbers)}, above 0."


class Kind(StrEnum):
    """What became of an edge."""

    REMOVED = "removed"
    ADDED = "added"
    MOVED = "moved"
    TURNED = "turned"
    """It comes at its time, but goes the other way."""


@dataclass(frozen=True)
class Change:
    """One edge that a fault changed: where it was, or comes if it is added, and where it is now.

    `level` is the level after the edge as the fault left it, or would have found it if removed;
    `to_tick` is `tick` unless it is moved.
    """

    kind: Kind
    track: str
    level: int
    tick: int
    to_tick: int


@dataclass(frozen=True)
class MetalChange:
    """One edge of metal that a fault changed on the wheel, for every period of it.

    Crank degrees of the sound and of the faulty edge; None where there is none.
    """

    track: str
    tooth: int
    edge: str
    sound_deg: Fraction | None
    faulty_deg: Fraction | None

    def __str__(self) -> str:
        name = f"{self.edge} of tooth {self.tooth}"
        if self.sound_deg is None or self.faulty_deg is None:
            return f"{name} gone, every period"
        by_deg = float(self.faulty_deg - self.sound_deg)
        return f"{name} moved by {by_deg:+.6g} degrees, every period"


@dataclass
class Changes:
    """What a fault did in a run. `count` edges; the first `MOST_CHANGES` are kept.

    `metal` is what it did to the wheel, and `words` what it did to the motion or the sensor.
    """

    count: int = 0
    kept: list[Change] = field(default_factory=list)
    metal: tuple[MetalChange, ...] = ()
    words: str = ""

    def add(self, kind: Kind, track: str, edges: EdgeChunk, to_ticks: Ticks | None = None) -> None:
        """The same change to each of n edges of a track; `to_ticks` (n,) says where they went."""
        room = MOST_CHANGES - len(self.kept)
        after = edges.ticks if to_ticks is None else to_ticks
        rows = (edges.level[:room].tolist(), edges.ticks[:room].tolist(), after[:room].tolist())
        self.kept += [Change(kind, track, *row) for row in zip(*rows, strict=True)]
        self.count += len(edges)


@dataclass(frozen=True)
class Scene:
    """Where an edge fault works: the table's wheel, its motion and clock, the key of its draws.

    `levels` is the table from which the edges were compiled; `tdc_deg` are the crank degrees of
    every cylinder's firing TDC, in order. Nothing is read of the table before `begin_tick`.
    """

    levels: LevelTable
    motion: Motion
    tick_hz: int
    key: int
    tdc_deg: tuple[Fraction, ...] = ()
    begin_tick: int = 0

    @property
    def shortest_ticks(self) -> int:
        """`SHORTEST_NS` in ticks, at least one."""
        return max(round(SHORTEST_NS * self.tick_hz / 1_000_000_000), 1)

    def us_ticks(self, us: Fraction) -> int:
        """Microseconds in ticks, rounded once."""
        return round(us * self.tick_hz / US_PER_S)


Table = tuple[EdgeHeader, Iterator[EdgeChunk]]


@runtime_checkable
class EdgeFault(Protocol):
    """A fault of sensor or loom: an edit of the edge table."""

    def apply(
        self, scene: Scene, header: EdgeHeader, chunks: Iterable[EdgeChunk], changes: Changes
    ) -> Table:
        """The faulty table; no edge of it depends on where the sound chunks end.

        Chunks come with their passages and keep them. Levels alternate on every track.
        """


@runtime_checkable
class MetalFault(Protocol):
    """A fault of the wheel itself: an edit of the angle table, the same in every period."""

    def reshape(self, wheel: Wheel, metal: Sequence[Passing]) -> list[Passing]:
        """The faulty metal."""


@runtime_checkable
class SensorFault(Protocol):
    """A fault in how a sensor is connected that changes what it makes of metal."""

    def connect(self, wheel: Wheel, sensors: Sequence[Sensor]) -> list[Sensor]:
        """The faulty sensors, in the order of the wheel's tracks."""


@runtime_checkable
class MotionFault(Protocol):
    """A fault of how the engine turns."""

    def turn(self, wheel: Wheel, motion: Motion) -> Motion:
        """The faulty motion."""


class ToothFault(Protocol):
    """What is to be known of a fault that chosen teeth of a track have at times."""

    @property
    def track(self) -> str: ...
    @property
    def window(self) -> Window: ...
    @property
    def repetition(self) -> Repetition: ...


@runtime_checkable
class VoltageFault(ToothFault, Protocol):
    """A fault of how strong a VR sensor's voltage is, which moves no edge."""

    def shares(self, shaft_deg: Floats) -> Floats:
        """The strengths (n,) of teeth at angles (n,) of their shaft, of the sensor's own."""


Fault = EdgeFault | MetalFault | SensorFault | MotionFault | VoltageFault

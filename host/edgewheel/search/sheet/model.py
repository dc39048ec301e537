"""The settings sheet: what to type into a controller for a wheel under its motions, with margins.

Every line has a value, the ends between which it works, and for each of these either a computation
or the run that shows it. The computations are of the wheel, the motions and the bounce that the
bench file knows; what they are stands in the functions that make the lines.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from edgewheel.bench.signals import Limits
from edgewheel.controller.sim.settings import ControllerSettings
from edgewheel.errors import UsageError
from edgewheel.fault.bounce import Bounce
from edgewheel.motion.motion import Motion
from edgewheel.wheel.model import Wheel

COMPUTED = "computed"


@dataclass(frozen=True)
class Bound:
    """One end of what works: its value, what lies beyond it, and how that is known."""

    value: float
    beyond: str
    source: str = COMPUTED


@dataclass(frozen=True)
class Line:
    """One setting.

    `value` is a number in `unit` or a word, None where nothing works or nobody knows: `notes` say
    why. `low` and `high` are None where there is no such end or it is not known. `shown` are the
    runs that show the value, `ask` the command that would tell more. `typed` is the setting as the
    simulated controller names it, by its address; `other_way` marks one that is typed instead of
    another.
    """

    key: str
    name: str
    value: float | str | None
    unit: str = ""
    low: Bound | None = None
    high: Bound | None = None
    notes: tuple[str, ...] = ()
    shown: tuple[str, ...] = ()
    ask: str = ""
    typed: Mapping[str, Any] = field(default_factory=dict)
    other_way: bool = False


@dataclass(frozen=True)
class Subject:
    """What a sheet is made for.

    `motions` are those under which it must hold, each with its name; `bench` names the bench file
    in commands, empty for a wheel alone; `settings` are those of a simulated controller, as they
    stand now.
    """

    name: str
    wheel: Wheel
    motions: tuple[tuple[str, Motion], ...]
    limits: Limits = field(default_factory=Limits)
    bounces: tuple[Bounce, ...] = ()
    bench: str = ""
    settings: ControllerSettings | None = None

    def speeds_rpm(self) -> tuple[float, float]:
        """The lowest speed that is held or begun from, and the highest; standstill left out."""
        ends = [
            abs(float(rpm))
            for _, motion in self.motions
            for number in range(len(motion))
            for segment in [motion[number].segment]
            for rpm in (segment.rpm_begin, segment.rpm_end)
            if abs(rpm) >= self.limits.least_rpm
        ]
        if not ends:
            least = self.limits.least_rpm
            raise UsageError(
                f"Nothing turns faster than {least:g} rpm here. Name a motion with --motion."
            )
        return min(ends), max(ends)


@dataclass(frozen=True)
class Sheet:
    """The sheet: what it is for, its lines, and what the runs said as a whole.

    `runs` has the folders of the runs by the numbers that the lines call them by.
    """

    subject: Subject
    lines: tuple[Line, ...]
    runs: Mapping[str, str] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()

    def line(self, key: str) -> Line:
        """The line of that key. Raises KeyError."""
        for line in self.lines:
            if line.key == key:
                return line
        raise KeyError(key)

    def typed(self) -> dict[str, Any]:
        """All settings for the simulated controller, by address."""
        return {
            address: value
            for line in self.lines
            if not line.other_way
            for address, value in line.typed.items()
        }

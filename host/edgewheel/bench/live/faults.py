"""Faults of a live run: which are there from when to when, as windows of the faults themselves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any, cast

from edgewheel.errors import UsageError
from edgewheel.fault.flips import Flips
from edgewheel.fault.model import EdgeFault, Fault, MotionFault, VoltageFault
from edgewheel.fault.signal import SignalPlan, signal_of
from edgewheel.fault.window import Window
from edgewheel.motion.motion import Motion
from edgewheel.wheel.model import Sensor, Wheel

REACH_S = Fraction(5)
"""Faults look no further back than this, and cannot be seen any more so long after their end."""


@dataclass(frozen=True)
class Switched:
    """A fault that is there from a time of the run to another; None is since ever, and for ever."""

    fault: Fault
    from_s: Fraction | None = None
    to_s: Fraction | None = None
    once: bool = False

    @property
    def void(self) -> bool:
        """Is it never there?"""
        return self.to_s is not None and self.to_s <= (self.from_s or 0)

    def there(self, at_s: Fraction) -> bool:
        """Is it there at a time?"""
        return self.begun(at_s) and not self.over(at_s)

    def begun(self, at_s: Fraction) -> bool:
        """Has it come by then?"""
        return self.from_s is None or self.from_s <= at_s

    def over(self, at_s: Fraction) -> bool:
        """Has it ended by then?"""
        return self.to_s is not None and self.to_s <= at_s

    def ended(self, at_s: Fraction) -> Switched:
        """The same, over at a time at the latest."""
        return replace(self, to_s=at_s if self.to_s is None else min(self.to_s, at_s))


@dataclass(frozen=True)
class Sensed:
    """What is turned and how it is sensed: what all signals of a live run have in common."""

    wheel: Wheel
    sensors: tuple[Sensor, ...]
    seed: int = 0
    _made: dict[tuple[tuple[str, Fault], ...], SignalPlan] = field(
        default_factory=dict, repr=False, compare=False
    )

    def signal(
        self, motion: Motion, switched: Mapping[str, Switched], at_s: Fraction
    ) -> SignalPlan:
        """The signal in force at a time: faults of the wheel as they are then, the others by
        their windows. Raises UsageError where faults go too far.
        """
        faults: dict[str, Fault] = {}
        for name, one in switched.items():
            if has_window(one.fault):
                faults[name] = windowed(one)
            elif one.there(at_s):
                faults[name] = one.fault
        wheel = {n: f for n, f in faults.items() if not has_window(f)}
        return replace(self._still(wheel), motion=motion, faults=faults)

    def _still(self, faults: Mapping[str, Fault]) -> SignalPlan:
        """The signal of the wheel with its own faults, at rest; made once, for the pins wait."""
        key = tuple(faults.items())
        if key not in self._made:
            self._made[key] = signal_of(self.wheel, self.sensors, Motion(), faults, self.seed)
        return self._made[key]


@dataclass(frozen=True)
class FaultWish:
    """What a person wants: the faults that stay, and those that come once from now on.

    `awaited` names all that were asked for once, now or before, and have not been called off.
    """

    held: Mapping[str, Fault] = field(default_factory=dict)
    once: Mapping[str, Fault] = field(default_factory=dict)
    awaited: frozenset[str] = frozenset()

    @property
    def switched(self) -> dict[str, Switched]:
        """Those that stay, there since ever."""
        return {name: Switched(fault) for name, fault in self.held.items()}

    def after(self, before: FaultWish) -> FaultWish:
        """The one wish that an older one, not obeyed yet, and this make."""
        once = {n: f for n, f in {**before.once, **self.once}.items() if n in self.awaited}
        return replace(self, once=once)


def has_window(fault: Fault) -> bool:
    """Can it come and go as the engine turns? A fault of the wheel is there or it is not."""
    return isinstance(fault, EdgeFault | VoltageFault)


def windowed(one: Switched) -> Fault:
    """The fault with the window of its switch; of its own window only the speeds stay."""
    window = cast(Any, one.fault).window
    switch = Window(one.from_s, one.to_s, from_rpm=window.from_rpm, to_rpm=window.to_rpm)
    return cast(Fault, replace(cast(Any, one.fault), window=switch))


def refuse_scripted(name: str, fault: Fault) -> None:
    """Raises UsageError for a fault that belongs to one script, so nobody can switch it."""
    if isinstance(fault, MotionFault | Flips):
        raise UsageError(
            f"The fault '{name}' is made for one motion from its start. Play it with "
            "'edgewheel run', or switch another one."
        )


def switched_over(
    before: Mapping[str, Switched],
    wish: FaultWish,
    at_s: Fraction,
    once: Mapping[str, Switched],
    order: Sequence[str],
) -> dict[str, Switched]:
    """What is there from a time on, `once` with its times; what has ended is kept while it may
    still be seen.
    """
    after: dict[str, Switched] = {}
    for name in order:
        old = before.get(name)
        if name in once:
            after[name] = once[name]
        elif name in wish.held:
            fault = wish.held[name]
            goes_on = old is not None and old.fault == fault and old.to_s is None
            after[name] = old if old and goes_on else Switched(fault, at_s)
        elif old is not None:
            rest = old if old.once and name in wish.awaited else old.ended(at_s)
            if rest.to_s is not None and not rest.void and rest.to_s + REACH_S > at_s:
                after[name] = rest
    return after

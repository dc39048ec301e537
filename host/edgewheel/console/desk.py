"""What lies on the desk: a bench file as it is now, the bench that plays it, what was heard of it.

Everything here may be called from the thread that draws: only `close` and `wait_until_free` wait,
for a bench that parks, a second at most on a board that does not answer.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Protocol

from edgewheel.bench.copies import bench_tree
from edgewheel.bench.live.settings import sensors_of
from edgewheel.bench.live.state import (
    CourseRefused,
    FaultState,
    LiveEvent,
    LivePhase,
    LiveState,
    PhaseChanged,
)
from edgewheel.bench.loader import read_plan
from edgewheel.bench.plan import Plan, SimulatedController, voltage_tracks
from edgewheel.console.document import (
    only_faults,
    suited,
    text_of,
    with_settings,
    with_sweep,
    with_word,
)
from edgewheel.console.leaving import Leaving
from edgewheel.console.spare_faults import with_spares
from edgewheel.console.watch import Watch
from edgewheel.errors import EdgewheelError, UsageError
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import HIGHEST_RPM
from edgewheel.wheel.library import find
from edgewheel.wheel.model import Wheel
from edgewheel.yamlfile import Node

USUAL_RPM = Fraction(850)
FIRST = Path(__file__).resolve().parents[1] / "examples" / "first-bench.yaml"
"""What lies there if nobody names a bench file: ready to turn on the simulated bench."""


class LivePlayer(Protocol):
    """What the desk wants of a live bench, see `edgewheel.bench.live.bench`. Only `close` waits."""

    @property
    def state(self) -> LiveState:
        """The bench as it is now."""

    @property
    def motion(self) -> Motion | None:
        """How the engine turns in the run that is going on; None between runs."""

    @property
    def crash(self) -> Exception | None:
        """The mistake of ours that ended its thread, if one did; the outputs are parked then."""

    @property
    def trouble(self) -> EdgewheelError | None:
        """What failed as it was closed, if anything did."""

    def start(self, rpm: Fraction) -> None:
        """Turn the engine; a new record begins."""

    def speed(self, rpm: Fraction, rpm_per_s: Fraction | None = None) -> None:
        """Go to another speed, at once or by a ramp."""

    def fault(self, name: str, state: FaultState) -> None:
        """Switch a fault."""

    def edit(self, address: str, text: str) -> None:
        """Change a number of a fault. Raises FileError, UsageError."""

    def park(self) -> None:
        """Bring the outputs to their idle levels at once."""

    def close(self) -> None:
        """Park and let go of everything."""

    def drain(self) -> Sequence[LiveEvent]:
        """What happened since the last call."""


MakePlayer = Callable[[Plan, Path], LivePlayer]


@dataclass(frozen=True)
class View:
    """One look at the desk, for those who draw."""

    state: LiveState
    plan: Plan
    file: Path
    wish_rpm: Fraction
    watch: Watch
    motion: Motion | None
    trouble: tuple[str, ...] = ()
    """Sentences to be shown once."""

    search: str = ""
    """The search that has the bench, in words; empty if none has."""

    search_plays_desk: bool = True
    """Whether it plays the bench file that lies here, with the faults that are held."""

    waits_for: str = ""
    """What must be over before the engine can turn, in words; empty if nothing must."""


class Desk:
    """A bench file and its bench. Raises FileError or UsageError for a file that cannot be used."""

    def __init__(self, file: Path, runs: Path, make: MakePlayer) -> None:
        self.runs = runs
        self._make = make
        self._player: LivePlayer | None = None
        self._leaving = Leaving()
        self._turns_next = False
        self.plan: Plan
        self.file: Path
        self.watch: Watch
        self.wish_rpm: Fraction
        self.open(file)

    def open(self, file: Path) -> None:
        """Put another bench file on the desk."""
        self._use(bench_tree(file), file)

    def use_wheel(self, name: str) -> bool:
        """The same bench with another wheel of the library, or one in a file.

        A simulated controller is set for it where the settings sheet says how; whether it was.
        """
        near = self.file.parent / name if name.endswith((".yaml", ".yml")) else name
        wheel = find(near)
        document = suited(with_word(self.plan.document, "wheel", name), wheel)
        settings = self._fitted(wheel)
        if settings is not None:
            document = with_settings(document, settings)
        self._use(document, self.file)
        return settings is not None

    def _fitted(self, wheel: Wheel) -> Node | None:
        """Settings for a wheel; None where the controller is a real one, or has a file of its own,
        or the sheet does not say.
        """
        from edgewheel.console.fit import fitted

        if not isinstance(self.plan.controller, SimulatedController):
            return None

        before = self.plan.document.section().nodes["controller"].section().nodes["settings"]
        return fitted(wheel, before) if isinstance(before.content, dict) else None

    def use_board(self, name: str) -> None:
        """The same bench with another board: `sim`, `auto`, or a port."""
        self._use(with_word(self.plan.document, "board", name), self.file)

    def turn(self) -> None:
        """Let the engine turn at the wanted speed, as soon as the bench before this one is closed.

        Raises UsageError.
        """
        self._turns_next = not self._leaving.over
        if not self._turns_next:
            self.player.start(self.wish_rpm)

    def park(self) -> None:
        """Bring the outputs to their idle levels at once."""
        self._turns_next = False
        self.player.park()

    def speed(self, rpm: Fraction, rpm_per_s: Fraction | None = None) -> None:
        """Want another speed; if the engine turns, it goes there. Raises UsageError."""
        if not 0 <= rpm <= HIGHEST_RPM:
            raise UsageError(f"{float(rpm):g} rpm is not between 0 and {HIGHEST_RPM}.")
        self.wish_rpm = rpm
        if self.player.state.phase is LivePhase.TURNING:
            self.player.speed(rpm, rpm_per_s)

    def step(self, by_rpm: int) -> None:
        """Want so much more, or less, but no less than nothing."""
        self.speed(min(max(self.wish_rpm + by_rpm, Fraction(0)), Fraction(HIGHEST_RPM)))

    def fault(self, name: str, state: FaultState) -> None:
        """Switch a fault. Raises UsageError."""
        self.player.fault(name, state)
        self.watch.note(f"fault {name}: {state}")

    def edit(self, address: str, text: str) -> None:
        """Change a number of a fault, whether the engine turns or not. Raises FileError."""
        self.player.edit(address, text)
        self.watch.note(f"{address}: {text}")
        document = self.plan.document.with_value(address, text)
        self.plan = replace(self.plan, document=document)

    def look(self) -> View:
        """Hear what happened since the last look, and say how things stand."""
        refused = self._turn_if_free()
        player = self.player
        events = player.drain()
        if any(_begins(event) for event in events):
            self.watch.restart()
        self.watch.hear(events)
        state = player.state
        self.watch.sample(state)
        left = (f"Lost: {error}" for error in self._leaving.take_trouble())
        trouble = (*refused, *left, *(word for event in events if (word := _trouble(event))))
        return View(
            state,
            self.plan,
            self.file,
            self.wish_rpm,
            self.watch,
            player.motion,
            trouble,
            waits_for=self._waits_for(),
        )

    def _turn_if_free(self) -> tuple[str, ...]:
        """Begin what had to wait; why it cannot be begun."""
        try:
            if self._turns_next:
                self.turn()
        except EdgewheelError as error:
            return (str(error),)
        return ()

    def _waits_for(self) -> str:
        if self._leaving.over:
            return ""
        then = ", then the engine turns" if self._turns_next else ""
        return f"Waiting for the board to park{then}"

    def to_search(
        self, also: Sequence[str] = (), stairs: tuple[str, str, str] | None = None
    ) -> Plan:
        """The plan as it lies here, for a search: what is held is on, and the faults `also`.

        `stairs` are from, to and step of a sweep, instead of its own.
        """
        states = self.player.state.faults
        on = {name for name, state in states.items() if state is FaultState.HELD} | set(also)
        document = only_faults(self.plan.document, on)
        if stairs is not None:
            document = with_sweep(document, stairs)
        plan = read_plan(document, self.file)
        (name, _), *others = plan.inputs or (("bench.yaml", ""),)
        return replace(plan, inputs=((name, text_of(document)), *others))

    def lend(self) -> None:
        """Park and let go of board and controller, so that a search can have them: they are free
        after `wait_until_free`.
        """
        states = self.player.state.faults
        self._leave()
        self._player = self._make(self.plan, self.runs)
        for name, state in states.items():
            if (state is FaultState.HELD) != (self._player.state.faults[name] is FaultState.HELD):
                self._player.fault(name, state)

    def wait_until_free(self) -> None:
        """Wait until no bench that was left has board and controller; from any thread."""
        self._leaving.wait()

    def close(self) -> None:
        """Park and let go of the bench; waits for that."""
        self._leave()
        self._leaving.wait()

    def _leave(self) -> None:
        self._turns_next = False
        if self._player is not None:
            self._leaving.begin(self._player)

    @property
    def mistake(self) -> Exception | None:
        """What ended the thread of this bench, or of one that was left, if it was a mistake of
        ours; the bench is gone then.
        """
        return self.player.crash or self._leaving.crash

    def take_trouble(self) -> list[EdgewheelError]:
        """What failed in benches that were left, and was not told by `look`."""
        return self._leaving.take_trouble()

    @property
    def player(self) -> LivePlayer:
        """The live bench."""
        assert self._player is not None
        return self._player

    def _use(self, document: Node, file: Path) -> None:
        plan = read_plan(document, file)
        # The spare faults are off, so nothing else in the plan is changed by them.
        voltages = voltage_tracks(plan.wheel, plan.stage)
        document = with_spares(document, plan.wheel, sensors_of(plan), voltages)
        (name, _), *others = plan.inputs
        plan = replace(plan, document=document, inputs=((name, text_of(document)), *others))
        player = self._make(plan, self.runs)
        self._leave()
        self._player = player
        self.plan, self.file = plan, file
        self.watch = Watch(plan)
        self.wish_rpm = first_speed(plan)


def first_speed(plan: Plan) -> Fraction:
    """The first speed that the bench file holds, or one at which engines idle."""
    motion = plan.signal.motion
    held = (motion[number].segment for number in range(len(motion)))
    return next((one.rpm_begin for one in held if one.rpm_begin == one.rpm_end != 0), USUAL_RPM)


def _begins(event: LiveEvent) -> bool:
    """Whether the seconds of a new run begin with it."""
    return isinstance(event, PhaseChanged) and event.phase is LivePhase.TURNING


def _trouble(event: LiveEvent) -> str:
    if isinstance(event, CourseRefused):
        return event.why
    if isinstance(event, PhaseChanged) and event.phase is LivePhase.LOST:
        return f"Lost: {event.why}"
    return ""

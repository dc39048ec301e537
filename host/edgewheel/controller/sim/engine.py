"""What the controller does with a position: which outputs there are, and what it asks of them."""

from __future__ import annotations

import math
from bisect import bisect_right

from edgewheel.controller.sim.decoder import Sync
from edgewheel.controller.sim.outputs import Channel, Coil, Injector, Moment, Tacho
from edgewheel.controller.sim.scheduler import Scheduler
from edgewheel.controller.sim.settings import ControllerSettings, EngineSettings, IgnitionSettings

DEG_PER_S_PER_RPM = 6.0


def interpolate(table: tuple[tuple[float, float], ...], x: float) -> float:
    """A table ((x, y), ...), x ascending: straight between the points, level beyond them."""
    index = bisect_right(table, (x, math.inf))
    if index in (0, len(table)):
        return table[max(index - 1, 0)][1]
    (x0, y0), (x1, y1) = table[index - 1], table[index]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)


class Engine:
    """The outputs and the rules for them: advance, least firing speed, rev limit.

    `due_deg` is the absolute angle that the next output edge may need: a tooth that stands far
    enough before it has nothing to do.
    """

    def __init__(self, settings: ControllerSettings, tick_hz: int, scheduler: Scheduler) -> None:
        self.due_deg = math.inf
        self.advance_deg = 0.0
        self.cut = False
        self._settings = settings
        self._rpm_ticks_per_deg = tick_hz / DEG_PER_S_PER_RPM
        self._margin_ticks = 2 * settings.interrupts.crank_cost_us * tick_hz / 1e6
        self._coils: dict[str, Channel] = {}
        self._injectors: dict[str, Channel] = {}
        self._tacho: dict[str, Channel] = {}
        self._build(tick_hz, scheduler)
        self._running: list[Channel] = []

    @property
    def channels(self) -> dict[str, Channel]:
        """All outputs by name, in the order of their lines."""
        return {**self._coils, **self._injectors, **self._tacho}

    def advance_at(self, rpm: float) -> float:
        """Degrees before top dead centre that the table asks for."""
        ignition = self._settings.ignition
        if not ignition:
            return 0.0
        table = ignition.advance_table
        return interpolate(table, rpm) if table else ignition.advance_deg

    def start(
        self, now: int, sync: Sync, period_deg: float, deg: float, shift_deg: float = 0.0
    ) -> None:
        """The position is known modulo `period_deg` from `deg` on, and jumped by `shift_deg`."""
        wanted = self._possible(sync)
        for channel in self._running:
            if channel not in wanted:
                channel.stop(now)
        self._running = wanted
        for channel in wanted:
            channel.start(period_deg, deg, shift_deg)
        self.due_deg = deg if wanted else math.inf

    def stop(self, now: int) -> None:
        """The position is lost."""
        for channel in self._running:
            channel.stop(now)
        self._running = []
        self.due_deg = math.inf
        self.cut = False

    def plan(
        self, tick: int, deg: float, ahead_deg: float, done: int, pace: float, mean_pace: float
    ) -> None:
        """Schedule all that comes before the next tooth is dealt with.

        `tick` and `deg` are of the tooth, `ahead_deg` is the way to the next; paces are ticks a
        degree.
        """
        spark, fuel = self._allowed(self._rpm_ticks_per_deg / mean_pace)
        margin_deg = self._margin_ticks / pace
        moment = Moment(
            tick=tick,
            deg=deg,
            horizon_deg=deg + ahead_deg + margin_deg,
            done=done,
            pace=pace,
            mean_pace=mean_pace,
            advance_deg=self.advance_deg,
            spark_allowed=spark,
            fuel_allowed=fuel,
        )
        due_deg = math.inf
        for channel in self._running:
            channel.plan(moment)
            due_deg = min(due_deg, channel.due_deg)
        self.due_deg = due_deg - margin_deg

    def _allowed(self, rpm: float) -> tuple[bool, bool]:
        """Whether coils may charge and injectors open at this speed."""
        speed = self._settings.speed
        self.advance_deg = self.advance_at(rpm)
        if speed.rev_limit_rpm is not None:
            back = speed.rev_limit_back_rpm if self.cut else 0.0
            self.cut = rpm > speed.rev_limit_rpm - back
        turns = rpm >= speed.least_firing_rpm
        return (
            turns and not (self.cut and speed.cut in ("spark", "both")),
            turns and not (self.cut and speed.cut in ("fuel", "both")),
        )

    def _possible(self, sync: Sync) -> list[Channel]:
        """The outputs that this much of a position is enough for."""
        ignition = self._settings.ignition
        coils = ignition is not None and (
            sync is Sync.FULL
            or ignition.coils == "one"
            or (
                sync is Sync.CRANK
                and (ignition.coils == "pairs" or ignition.before_phase == "wasted")
            )
        )
        injectors = sync in (Sync.CRANK, Sync.FULL)
        return [
            *(self._coils.values() if coils else ()),
            *(self._injectors.values() if injectors else ()),
            *self._tacho.values(),
        ]

    def _build(self, tick_hz: int, scheduler: Scheduler) -> None:
        settings = self._settings
        tdc = top_dead_centres(settings.engine)
        if settings.ignition:
            for name, angles in coil_angles(settings.ignition, tdc).items():
                line = len(self._coils)
                self._coils[name] = Coil(line, angles, settings.ignition, tick_hz, scheduler)
        if settings.injection:
            for cylinder, angle in tdc.items():
                line = len(self.channels)
                injector = Injector(line, angle, settings.injection, tick_hz, scheduler)
                self._injectors[f"injector_{cylinder}"] = injector
        if settings.tacho:
            self._tacho["tacho"] = Tacho(len(self.channels), settings.tacho, scheduler)


def top_dead_centres(engine: EngineSettings) -> dict[int, float]:
    """Degrees after the reference, by cylinder, in firing order."""
    first = engine.tdc_after_reference_deg
    pairs = zip(engine.firing_order, engine.firing_deg, strict=True)
    return {cylinder: (first + angle) % 720 for cylinder, angle in pairs}


def coil_angles(ignition: IgnitionSettings, tdc: dict[int, float]) -> dict[str, tuple[float, ...]]:
    """The coils by name, each with the top dead centres that it fires for."""
    if ignition.coils == "one":
        return {"coil": tuple(tdc.values())}
    if ignition.coils == "per_cylinder":
        return {f"coil_{cylinder}": (angle,) for cylinder, angle in tdc.items()}
    shared: dict[float, list[int]] = {}
    for cylinder, angle in tdc.items():
        shared.setdefault(round(angle % 360, 6), []).append(cylinder)
    return {
        "coil_" + "_".join(map(str, cylinders)): (angle, angle + 360)
        for angle, cylinders in shared.items()
    }

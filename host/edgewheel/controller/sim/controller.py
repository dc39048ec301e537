"""The simulated controller: level changes in, output edges and report lines out."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edgewheel.controller.reader import Piece
from edgewheel.controller.sim.capture import CRANK, LOST, MARK, Captured, InputCapture
from edgewheel.controller.sim.decoder import Decoder, Sync
from edgewheel.controller.sim.engine import DEG_PER_S_PER_RPM, Engine
from edgewheel.controller.sim.family import decoder_for
from edgewheel.controller.sim.inputs import to_ticks
from edgewheel.controller.sim.odometer import CYCLE_DEG, TURN_DEG, Odometer
from edgewheel.controller.sim.report import Reading
from edgewheel.controller.sim.scheduler import Pulse, Scheduler
from edgewheel.controller.sim.settings import ControllerSettings
from edgewheel.controller.sim.speaks import speaker_for


@dataclass(frozen=True)
class Output:
    """What came out of the controller up to `now`: output edges and reports, each by tick."""

    pulses: tuple[Pulse, ...]
    serial: tuple[tuple[int, Piece], ...]


class SimController:
    """It knows its settings and the levels of its input lines, nothing else.

    `lines[i]` is the name of the signal on bit i of a mask, as wired; an input that is wired to
    none of them is pulled up and stays there. `outputs` names its output lines, `output_levels`
    has their levels at rest. Ticks are the board's clock; the controller is powered up at
    `power_up_tick`.
    """

    def __init__(
        self,
        settings: ControllerSettings,
        tick_hz: int,
        lines: tuple[str, ...],
        initial_mask: int,
        power_up_tick: int = 0,
    ) -> None:
        self._tick_hz = tick_hz
        self._power_up_tick = power_up_tick
        self._capture = InputCapture(settings, tick_hz, lines, initial_mask)
        self._decoder: Decoder = decoder_for(settings)
        self._decoder.cam_level(self._capture.cam_level)
        self._scheduler = Scheduler()
        self._engine = Engine(settings, tick_hz, self._scheduler)
        self._speaker = speaker_for(settings.report, tick_hz)
        interrupts = settings.interrupts
        queue_us = interrupts.crank_cost_us * (interrupts.waiting_edges + 1)
        longest_wait = to_ticks(queue_us, tick_hz)
        average_teeth = settings.speed.average_teeth
        self._odometer = Odometer(self._decoder, average_teeth, longest_wait)
        self._losses = 0
        self._overruns = 0
        self._ignore_overruns = settings.interrupts.overrun == "ignore"
        self._report_on_loss = settings.report.on_loss
        self._report_ticks = round(tick_hz / settings.report.rate_hz)
        self._next_report = power_up_tick + self._report_ticks
        self._stall_ticks = to_ticks(settings.sync.stall_ms * 1000, tick_hz)
        self._stall_check = power_up_tick + self._stall_ticks
        self._stalled_tick = self._decoder.tick
        self._now = power_up_tick - 1
        self._asked: deque[tuple[int, Piece]] = deque()
        channels = self._engine.channels
        self.outputs = tuple(channels)
        self.output_levels = tuple(channel.idle_level for channel in channels.values())

    def feed(
        self,
        ticks: Sequence[int] | npt.NDArray[np.int64],
        masks: Sequence[int] | npt.NDArray[np.uint8],
        now: int,
    ) -> Output:
        """Take all transitions of the inputs up to `now`, then let time pass until then.

        `ticks` strictly ascend, all later than the `now` of the call before; `masks` are the
        levels of all lines from each on. The result does not depend on how a stream is cut into
        calls.
        """
        at = np.asarray(ticks, dtype=np.int64)
        if now < self._now or (len(at) and not self._now < at[0] <= at[-1] <= now):
            raise ValueError(f"the transitions up to {now} do not follow those up to {self._now}")
        self._now = now
        self._deal_with(self._capture.push(at, np.asarray(masks, dtype=np.uint8), now))
        self._run_timers(now)
        return Output(self._scheduler.due(now), self._speaker.sent(now))

    def _deal_with(self, captured: Captured) -> None:
        """Every captured edge in the order of its interrupt: the hot loop."""
        decoder, engine, odometer = self._decoder, self._engine, self._odometer
        tooth, angles, ahead = decoder.tooth, decoder.angles, decoder.ahead
        history = odometer.history
        timer = self._next_timer()
        for tick, done, kind, level in captured:
            if done > timer:
                timer = self._run_timers(done - 1)
            if kind != CRANK:
                self._other(tick, done, kind, level)
                continue
            number = tooth(tick, level)
            if decoder.news:
                self._take_news(done, wrapped=number == 0)
            elif number == 0:
                odometer.base_deg += decoder.period_deg
            if number < 0:
                deg = odometer.deg + decoder.pitch_deg
            else:
                deg = odometer.base_deg + angles[number]
            odometer.deg = deg
            history.append((tick, deg))
            if deg + ahead[number] >= engine.due_deg:
                mean_pace = odometer.mean_pace()
                engine.plan(tick, deg, ahead[number], done, decoder.pace, mean_pace)

    def _other(self, tick: int, done: int, kind: int, level: int) -> None:
        decoder = self._decoder
        if kind == MARK:
            decoder.mark(tick, level)
        elif kind == LOST:
            self._overruns += 1
            if not self._ignore_overruns:
                decoder.overrun()
        else:
            decoder.cam_level(level)
        if decoder.news:
            self._take_news(done, wrapped=False)

    def _take_news(self, now: int, wrapped: bool) -> None:
        """Sync or the turn is not what it was: the absolute angle and the outputs follow."""
        decoder, odometer, sync = self._decoder, self._odometer, self._decoder.sync
        decoder.news = False
        shift_deg = odometer.take_news(wrapped)
        if sync is Sync.NONE:
            self._engine.stop(now)
        else:
            known_deg = {Sync.CRANK: TURN_DEG, Sync.FULL: CYCLE_DEG}.get(sync, decoder.period_deg)
            self._engine.start(now, sync, known_deg, odometer.deg, shift_deg)
        if decoder.losses != self._losses:
            self._losses = decoder.losses
            if self._report_on_loss:
                self._report(now)

    def _run_timers(self, now: int) -> int:
        """Do what time alone brings up to `now`; the tick at which it brings the next."""
        while (due := self._next_timer()) <= now:
            if self._asked and due == self._asked[0][0]:
                self._speaker.ask(due, self._asked.popleft()[1], self._reading(due))
            elif due == self._stall_check:
                self._check_stall(due)
            else:
                self._report(due)
                self._next_report += self._report_ticks
        return due

    def _next_timer(self) -> int:
        due = min(self._next_report, self._stall_check)
        return min(due, self._asked[0][0]) if self._asked else due

    def _check_stall(self, tick: int) -> None:
        last = self._decoder.tick
        moving = last != self._stalled_tick
        if moving and tick - last >= self._stall_ticks:
            self._stalled_tick = last
            moving = False
            self._decoder.stall()
            self._odometer.stand()
            self._take_news(tick, wrapped=False)
        self._stall_check = (last if moving else tick) + self._stall_ticks

    def _rpm(self, tick: int) -> float:
        pace = self._odometer.pace_at(tick)
        return self._tick_hz / DEG_PER_S_PER_RPM / pace if pace else 0.0

    def ask(self, piece: Piece, tick: int) -> None:
        """A request reaches the controller's reporting port; it is served when time is there."""
        self._asked.append((max(tick, self._now + 1), piece))

    def _report(self, tick: int) -> None:
        self._speaker.report(tick, self._reading(tick))

    def _reading(self, tick: int) -> Reading:
        rpm = self._rpm(tick)
        return Reading(
            seconds=(tick - self._power_up_tick) / self._tick_hz,
            rpm=rpm,
            sync=self._decoder.sync,
            losses=self._losses,
            overruns=self._overruns,
            cut=self._engine.cut,
            advance_deg=self._engine.advance_at(rpm),
            reason=self._decoder.reason,
        )

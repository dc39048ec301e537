"""The two ways to a board and a controller: in memory and virtual time, or through real ports."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

from edgewheel.bench.feed import LINE
from edgewheel.bench.plan import Plan, SimulatedController
from edgewheel.bench.wired import ControllerOnPins
from edgewheel.board.run import SimSettings
from edgewheel.board.sim import SimBoard
from edgewheel.board.virtual import TickClock, VirtualBench
from edgewheel.clock import VirtualClock
from edgewheel.controller.lines import Report
from edgewheel.controller.reader import Piece, Reader
from edgewheel.errors import UsageError
from edgewheel.link.events import Event as LinkEvent
from edgewheel.link.hostrun import NewCourse, RunOrder
from edgewheel.link.session import Session, SessionSettings

EXCHANGE_NS = 19_000_000
"""Pins and controller meet at every fourth STATUS of a run; every edge keeps its own tick."""


@dataclass(frozen=True)
class Said:
    """A piece of what the controller said, the board's tick of its arrival, the reports it made.

    The tick is right to `uncertainty_ticks`.
    """

    tick: int
    piece: Piece
    reports: tuple[Report, ...]
    uncertainty_ticks: int = 0


@dataclass(frozen=True)
class Heard:
    """What one step brought: events of the link, words of the controller, the board's tick now.

    `deaf` says that the controller's port is away, so that its silence means nothing.
    """

    events: tuple[LinkEvent, ...]
    said: tuple[Said, ...]
    tick: int
    deaf: bool = False


class BenchLink(Protocol):
    """A board and a controller, joined. Steps follow each other until the run is over."""

    input_names: tuple[str, ...]
    """The board's inputs, by what is wired to them."""

    rest_levels: tuple[int, ...]
    """Their levels while the controller rests."""

    def order(self, order: RunOrder) -> None:
        """Open a run on the connected board."""

    def change(self, make: NewCourse) -> None:
        """Change the course of a live run; see :meth:`HostRun.splice`."""

    def park(self) -> None:
        """End the run and bring the pins to their idle levels."""

    def now(self) -> int:
        """The board's tick now, as well as this side knows."""

    def step(self) -> Heard:
        """Wait for the next thing to happen and tell it."""

    def tally(self) -> dict[str, int]:
        """How much the controller said and how much of it could not be read, by kind."""

    def clock(self) -> dict[str, float]:
        """How the board's clock runs by the host's; empty where both are one."""

    def close(self) -> None:
        """Park what is not parked and let go of the ports."""


class SimulatedLink:
    """Simulated board and controller in the time of `clock`: virtual, unless it is paced."""

    def __init__(self, plan: Plan, clock: VirtualClock | None = None) -> None:
        if not isinstance(plan.controller, SimulatedController):
            raise UsageError(
                "A simulated board has no pins for a real controller. Write 'board: PORT' for a "
                "real board, or 'controller: {kind: sim, ...}'."
            )
        self._settings = SimSettings(tick_hz=plan.board.tick_hz)
        self._wired = ControllerOnPins(
            plan.controller.settings,
            plan.board.tick_hz,
            plan.lines,
            plan.output_stage(plan.board.tick_hz),
            self._settings.inputs,
            LINE if plan.supply else None,
            {n: one.mv_a_height for n, one in enumerate(plan.voltages) if one is not None},
        )
        # Settings and listening were made for one another, whichever kind of piece they pass.
        self._reader: Reader[Any] = plan.controller.listening.reader()
        self.input_names = self._wired.names
        self.rest_levels = self._wired.rest_levels
        self._clock = clock or VirtualClock()
        self._ticks = TickClock(plan.board.tick_hz)
        session = Session(SessionSettings(port="sim", number=plan.seed & 0xFFFF_FFFF), 0)
        self._bench = VirtualBench(
            session,
            SimBoard(self._settings),
            self._wired,
            clock=self._clock,
            exchange_ns=EXCHANGE_NS,
        )

    def order(self, order: RunOrder) -> None:
        self._bench.session.open_run(order)
        self._bench.settle()

    def change(self, make: NewCourse) -> None:
        self._bench.session.splice(make)
        self._bench.settle()

    def park(self) -> None:
        self._bench.session.stop(park=True)
        self._bench.settle()

    def now(self) -> int:
        return self._ticks.tick(self._clock.now_ns())

    def step(self) -> Heard:
        events = tuple(self._bench.step())
        tick = self.now()
        for request in self._reader.due(self._clock.now_ns()):
            self._wired.ask(request, tick)
        said = tuple(
            Said(at, piece, tuple(self._reader.feed(piece, at)))
            for at, piece in self._wired.take_serial()
        )
        return Heard(events, said, tick)

    def tally(self) -> dict[str, int]:
        return dict(self._reader.tally())

    def clock(self) -> dict[str, float]:
        return {}

    def close(self) -> None:
        self._bench.session.stop(park=True)

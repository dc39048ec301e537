"""What the thread of a live bench does: it drives board and controller, judges and records."""

from __future__ import annotations

import queue
from collections.abc import Callable
from contextlib import suppress
from fractions import Fraction
from pathlib import Path

from edgewheel.bench.links import BenchLink
from edgewheel.bench.live.course import SpeedWish
from edgewheel.bench.live.faults import FaultWish
from edgewheel.bench.live.leg import Wish
from edgewheel.bench.live.run import LiveRun, Order
from edgewheel.bench.live.state import LiveEvent, LivePhase, PhaseChanged
from edgewheel.bench.live.watch import Watch
from edgewheel.bench.plan import Plan
from edgewheel.bench.rig import named, open_link, rest_mask
from edgewheel.clock import PacedClock, WallClock
from edgewheel.errors import BenchError, EdgewheelError
from edgewheel.link.events import Connected, LinkFailed
from edgewheel.link.welcome import Welcome
from edgewheel.motion.motion import Motion

LOOK_AGAIN_NS = 1_000_000_000
"""How often a lost board is looked for."""

PARK_NS = 1_000_000_000
"""How long a closing bench waits for the board to say that it has parked."""


class LiveWork:
    """All but `motion` is for the thread alone: `play`, and what orders call while it plays.

    `paced` wakes when an order has come, `faults` says what is wanted of them now, `tell` takes
    what happened.
    """

    def __init__(
        self,
        plan: Plan,
        runs: Path,
        orders: queue.SimpleQueue[Callable[[LiveWork], None]],
        paced: PacedClock,
        watch: Watch,
        faults: Callable[[], FaultWish],
        tell: Callable[[LiveEvent], None],
    ) -> None:
        self._plan = plan
        self._runs = runs
        self._orders = orders
        self._paced = paced
        self._watch = watch
        self._faults = faults
        self._report = tell
        self._wall = WallClock()
        self._link: BenchLink | None = None
        self._welcome: Welcome | None = None
        self._run: LiveRun | None = None
        self._wanted_rpm: Fraction | None = None
        self._levels = 0
        self._look_ns = 0

    @property
    def motion(self) -> Motion | None:
        """How the engine turns in the run that is going on; None between runs."""
        run = self._run
        return run.leg.motion if run is not None and run.leg is not None else None

    def play(self, closing: Callable[[], bool]) -> None:
        """Obey until it is to close, then park and let go of everything.

        Raises EdgewheelError if board, cable or disk fail at the end.
        """
        try:
            while not closing():
                self._try(self._turn)
            failed = self._try(self._park_out)
        except Exception:
            # A mistake of ours is what must be heard of, whatever the disk says after it.
            with suppress(EdgewheelError):
                self._let_go()
            raise
        self._let_go()
        if failed is not None:
            raise failed
        self._enter(LivePhase.CLOSED)

    # Orders

    def begin(self, rpm: Fraction) -> None:
        """Connect, if need be, and turn; another speed where the engine turns already."""
        if self._run is not None and not self._run.parking:
            self.change(self._wall.now_ns(), SpeedWish(rpm), self._faults())
            return
        self._wanted_rpm = rpm
        self._watch.order(float(rpm))
        if self._link is None:
            self._enter(LivePhase.CONNECTING)
            self._open()
        else:
            self._go()

    def change(self, asked_ns: int, speed: SpeedWish | None, faults: FaultWish) -> None:
        """Change the speed, or the faults, or both; `asked_ns` is when somebody wanted it."""
        if speed is not None:
            self._watch.order(float(speed.rpm))
        run = self._run
        if run is None or self._link is None or run.parking:
            if self._wanted_rpm is not None and speed is not None:
                self._wanted_rpm = speed.rpm
            self._watch.spent(faults.once)
            return
        assert self._welcome is not None
        waited_ns = self._wall.now_ns() - asked_ns
        tick = self._link.now() - waited_ns * self._welcome.tick_hz // 1_000_000_000
        self._watch.wait_for(faults.once)
        run.change(Order(Wish(speed, faults), tick))

    def park(self) -> None:
        """Bring the outputs to their idle levels."""
        self._wanted_rpm = None
        if self._run is not None:
            self._run.park()
        elif self._link is not None and self._welcome is None:
            self._drop_link()
            self._enter(LivePhase.CLOSED)

    # What goes on

    def _try(self, step: Callable[[], None]) -> EdgewheelError | None:
        """Do a step; what was lost in it, if anything was."""
        try:
            step()
        except EdgewheelError as error:
            self._lose(error)
            return error
        return None

    def _turn(self) -> None:
        self._obey()
        if self._link is not None:
            self._step(self._link)

    def _obey(self) -> None:
        """Take the orders that have come; wait for one if there is no board."""
        if self._link is None:
            try:
                self._orders.get(timeout=LOOK_AGAIN_NS / 1e9)(self)
            except queue.Empty:
                self._look()
        while not self._orders.empty():
            self._orders.get()(self)

    def _step(self, link: BenchLink) -> None:
        heard = link.step()
        for event in heard.events:
            if isinstance(event, LinkFailed):
                raise event.error
            if isinstance(event, Connected):
                self._connected(event.welcome, link)
        run = self._run
        if run is None:
            return
        for found in run.take(heard):
            self._tell(found)
        self._watch.look(run.leg, run.seconds(link.now()))
        if run.over:
            self._finish(run, self._watch.facts.ended_why)

    def _connected(self, welcome: Welcome, link: BenchLink) -> None:
        self._welcome, self._levels = welcome, rest_mask(link)
        self._watch.connected(named(welcome))
        self._enter(LivePhase.PARKED)
        self._go()

    def _open(self) -> None:
        self._link = open_link(self._plan, self._paced)

    def _go(self) -> None:
        """Begin a run if one is wanted and can be."""
        if self._wanted_rpm is None or self._welcome is None or self._run is not None:
            return
        rpm, self._wanted_rpm = self._wanted_rpm, None
        assert self._link is not None
        self._run = run = LiveRun(
            self._plan, self._link, self._welcome, self._runs, self._levels, self._faults()
        )
        self._watch.begin(run.record.folder)
        run.begin(rpm)
        self._enter(LivePhase.TURNING)

    def _finish(self, run: LiveRun, why: str, error: BenchError | None = None) -> None:
        self._run = None
        self._levels = run.levels
        self._watch.end()
        run.close(error)
        if error is None:
            self._enter(LivePhase.PARKED, why)
            self._go()

    def _lose(self, error: EdgewheelError) -> None:
        """Board, cable or disk failed, or the signal cannot be played: park what can be parked."""
        self._wanted_rpm = None
        run = self._run
        self._drop_link()
        if run is not None:
            failed = error if isinstance(error, BenchError) else BenchError(str(error))
            try:
                self._finish(run, "", failed)
            except BenchError as second:
                error = second
        self._look_ns = self._wall.now_ns() + LOOK_AGAIN_NS
        self._enter(LivePhase.LOST, str(error))

    def _let_go(self) -> None:
        """Close board and controller, and the record of a run that could not be parked."""
        try:
            self._drop_link()
        finally:
            if self._run is not None:
                self._finish(self._run, "", BenchError("The run was cut off."))

    def _drop_link(self) -> None:
        link, self._link, self._welcome = self._link, None, None
        if link is not None:
            link.close()

    def _look(self) -> None:
        """Look for a board that was lost."""
        if self._watch.facts.phase is LivePhase.LOST and self._wall.now_ns() >= self._look_ns:
            try:
                self._open()
            except EdgewheelError:
                self._look_ns = self._wall.now_ns() + LOOK_AGAIN_NS

    def _park_out(self) -> None:
        """Step until the board says that it has parked, or for a second."""
        end_ns = self._wall.now_ns() + PARK_NS
        if self._run is not None:
            self._run.park()
        while self._run is not None and self._link is not None and self._wall.now_ns() < end_ns:
            self._step(self._link)

    def _tell(self, event: LiveEvent) -> None:
        self._report(event)
        self._watch.hear(event)

    def _enter(self, phase: LivePhase, why: str = "") -> None:
        if self._watch.enter(phase, why):
            self._report(PhaseChanged(phase, why))

"""A bench that is played live: speed, faults and parking by order, from any thread.

One thread does everything that waits: it drives board and controller, judges and records. Orders
reach it through a queue and frozen events come back through another, so whoever watches is never
waited for, and never waits.
"""

from __future__ import annotations

import queue
import threading
from collections import deque
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

from edgewheel.bench.links import BenchLink
from edgewheel.bench.live_course import SpeedWish, begun, changed
from edgewheel.bench.live_leg import Wish
from edgewheel.bench.live_run import LiveRun, Order
from edgewheel.bench.live_settings import LiveFaults, ripple_of
from edgewheel.bench.live_state import (
    FaultState,
    LiveEvent,
    LivePhase,
    LiveState,
    PhaseChanged,
)
from edgewheel.bench.live_watch import Watch
from edgewheel.bench.plan import Plan
from edgewheel.bench.rig import named, open_link, rest_mask
from edgewheel.clock import PacedClock, WallClock
from edgewheel.errors import BenchError, EdgewheelError, UsageError
from edgewheel.link.events import Connected, LinkFailed
from edgewheel.link.welcome import Welcome
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import HIGHEST_RPM

LOOK_AGAIN_NS = 1_000_000_000
"""How often a lost board is looked for."""

PARK_NS = 1_000_000_000
"""How long a closing bench waits for the board to say that it has parked."""

MOST_EVENTS = 100_000
"""Events kept for whoever has not asked for them; the record has them all."""


class LiveBench:
    """Plays a plan live. Every method returns at once and may be called from any thread.

    Raises UsageError where the plan cannot be played so.
    """

    def __init__(self, plan: Plan, runs: Path) -> None:
        if plan.signal.capture is not None:
            raise UsageError(
                "A capture is played as it is and cannot change its speed. Play it with "
                "'edgewheel run', or 'edgewheel learn' its wheel first."
            )
        if plan.feed is not None:
            raise UsageError(
                "A live engine does not switch the controller's supply. Leave 'feed' out of the "
                "bench file, and supply the controller by hand."
            )
        self._plan = plan
        self._runs = runs
        self._ripple = ripple_of(plan)
        # Of the callers alone: a signal handler may close the bench while one of them holds it.
        self._lock = threading.Lock()
        self._faults = LiveFaults.of(plan)
        self._orders: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self._events: deque[LiveEvent] = deque(maxlen=MOST_EVENTS)
        self._wall = WallClock()
        self._paced = PacedClock()
        self._watch = Watch(plan, self._wall)
        self._thread: threading.Thread | None = None
        self._closing = False
        self._link: BenchLink | None = None
        self._welcome: Welcome | None = None
        self._run: LiveRun | None = None
        self._wanted_rpm: Fraction | None = None
        self._levels = 0
        self._look_ns = 0
        self.crash: Exception | None = None
        """A mistake in edgewheel that ended the thread, for whoever shows it."""

    # Orders

    def start(self, rpm: Fraction) -> None:
        """Connect, if need be, and turn at a speed; a new record begins. If the engine turns
        already, the same as `speed`. Raises UsageError for a speed that cannot be.
        """
        _check(rpm)
        begun(self._plan.signal.motion, rpm, self._ripple)
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, name="edgewheel-live", daemon=True)
            self._thread.start()
        self._order(lambda: self._begin(rpm))

    def speed(self, rpm: Fraction, rpm_per_s: Fraction | None = None) -> None:
        """Go to another speed, at once or by a ramp, from what is on the pins then.

        Raises UsageError for a speed or rate that cannot be.
        """
        _check(rpm)
        if rpm_per_s is not None and rpm_per_s <= 0:
            raise UsageError("A ramp needs a rate above 0 rpm/s. Leave it out to go at once.")
        wish = SpeedWish(rpm, rpm_per_s)
        probe = begun(Motion(), rpm, self._ripple)
        changed(probe, Fraction(1), wish, self._ripple)
        self._order_change(wish, self._faults)

    def fault(self, name: str, state: FaultState) -> None:
        """Switch a fault of the bench file. ONCE is one occurrence at the next possible place:
        the next whole tooth of a fault of teeth, one burst of noise, one opening of a contact, one
        turn of another line's fault, one period of a fault of the wheel; then it is off. Its own
        windows of time and turns do not count here, its window of speed does. Raises UsageError.
        """
        with self._lock:
            self._faults = self._faults.switched(name, state, self._wall.now_ns())
            faults = self._faults
        once = frozenset({name} if state is FaultState.ONCE else ())
        self._order_change(None, faults, once)

    def edit(self, address: str, text: str) -> None:
        """Change a number of a fault, such as `faults.worn.delay_us`; one that is held changes on
        the pins as a switch does. Raises FileError, UsageError.
        """
        with self._lock:
            faults = self._faults = self._faults.edited(address, text)
        self._order_change(None, faults)

    def park(self) -> None:
        """Bring the outputs to their idle levels at once, from any state."""
        self._order(self._park)

    def close(self) -> None:
        """Park, finish the record and end the thread; waits for that, a second at most on a board
        that does not answer.
        """
        self._closing = True
        self._order(self._park)
        if self._thread is not None:
            self._thread.join()

    # What is seen

    def drain(self) -> list[LiveEvent]:
        """What has happened since the last call."""
        events = []
        while self._events:
            events.append(self._events.popleft())
        return events

    @property
    def state(self) -> LiveState:
        """The bench as it is now."""
        return self._watch.state(self._faults)

    @property
    def motion(self) -> Motion | None:
        """How the engine turns in the run that is going on; None between runs."""
        run = self._run
        return run.leg.motion if run is not None and run.leg is not None else None

    # The thread

    def _order(self, order: Callable[[], None]) -> None:
        self._orders.put(order)
        self._paced.wake()

    def _order_change(
        self, speed: SpeedWish | None, faults: LiveFaults, once: frozenset[str] = frozenset()
    ) -> None:
        asked_ns = self._wall.now_ns()
        self._order(lambda: self._change(asked_ns, Wish(speed, faults.wish(once))))

    def _work(self) -> None:
        try:
            while not self._closing:
                self._turn()
        except Exception as error:
            self.crash = error
            self._enter(LivePhase.LOST, f"edgewheel has made a mistake: {error!r}")
        finally:
            self._leave()

    def _turn(self) -> None:
        try:
            self._obey()
            if self._link is not None:
                self._step(self._link)
        except EdgewheelError as error:
            self._lose(error)

    def _obey(self) -> None:
        """Take the orders that have come; wait for one if there is no board."""
        if self._link is None:
            try:
                self._orders.get(timeout=LOOK_AGAIN_NS / 1e9)()
            except queue.Empty:
                self._look()
        while not self._orders.empty():
            self._orders.get()()

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

    def _begin(self, rpm: Fraction) -> None:
        if self._run is not None and not self._run.parking:
            self._change(self._wall.now_ns(), Wish(SpeedWish(rpm), self._faults.wish()))
            return
        self._wanted_rpm = rpm
        self._watch.order(float(rpm))
        if self._link is None:
            self._enter(LivePhase.CONNECTING)
            self._open()
        else:
            self._go()

    def _open(self) -> None:
        self._link = open_link(self._plan, self._paced)

    def _go(self) -> None:
        """Begin a run if one is wanted and can be."""
        if self._wanted_rpm is None or self._welcome is None or self._run is not None:
            return
        rpm, self._wanted_rpm = self._wanted_rpm, None
        assert self._link is not None
        run = LiveRun(self._plan, self._link, self._welcome, self._runs, self._levels)
        self._run = run
        self._watch.begin(run.record.folder)
        run.begin(rpm, self._faults.wish())
        self._enter(LivePhase.TURNING)

    def _change(self, asked_ns: int, wish: Wish) -> None:
        if wish.speed is not None:
            self._watch.order(float(wish.speed.rpm))
        run = self._run
        if run is None or self._link is None or run.parking:
            if self._wanted_rpm is not None and wish.speed is not None:
                self._wanted_rpm = wish.speed.rpm
            self._watch.spent(wish.faults.once)
            return
        assert self._welcome is not None
        waited_ns = self._wall.now_ns() - asked_ns
        tick = self._link.now() - waited_ns * self._welcome.tick_hz // 1_000_000_000
        self._watch.wait_for(wish.faults.once)
        run.change(Order(wish, tick))

    def _park(self) -> None:
        self._wanted_rpm = None
        if self._run is not None:
            self._run.park()
        elif self._link is not None and self._welcome is None:
            self._drop_link()
            self._enter(LivePhase.CLOSED)

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

    def _leave(self) -> None:
        """Park what turns, close the record and let go of the ports."""
        run = self._run
        try:
            if run is not None and self.crash is None:
                self._park_out(run)
        finally:
            self._drop_link()
            if self._run is not None:
                self._finish(self._run, "", BenchError("The run was cut off."))
            if self.crash is None:
                self._enter(LivePhase.CLOSED)

    def _park_out(self, run: LiveRun) -> None:
        """Step until the board says that it has parked, or for a second."""
        end_ns = self._wall.now_ns() + PARK_NS
        run.park()
        while self._run is not None and self._link is not None and self._wall.now_ns() < end_ns:
            self._step(self._link)

    def _tell(self, event: LiveEvent) -> None:
        self._events.append(event)
        self._watch.hear(event)

    def _enter(self, phase: LivePhase, why: str = "") -> None:
        if self._watch.enter(phase, why):
            self._events.append(PhaseChanged(phase, why))


def _check(rpm: Fraction) -> None:
    if not 0 <= rpm <= HIGHEST_RPM:
        raise UsageError(f"{float(rpm):g} rpm cannot be. Stay within 0 to {HIGHEST_RPM} rpm.")

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
from typing import TYPE_CHECKING

from edgewheel.bench.live.course import SpeedWish, begun, changed
from edgewheel.bench.live.settings import LiveFaults, ripple_of
from edgewheel.bench.live.state import (
    FaultState,
    LiveEvent,
    LivePhase,
    LiveState,
    PhaseChanged,
)
from edgewheel.bench.live.watch import Watch
from edgewheel.bench.plan import Plan
from edgewheel.clock import PacedClock, WallClock
from edgewheel.errors import EdgewheelError, UsageError
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import HIGHEST_RPM

if TYPE_CHECKING:
    from edgewheel.bench.live.work import LiveWork

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
        self._faults = LiveFaults.of(plan)
        self._plan = plan = self._faults.plan
        self._runs = runs
        self._ripple = ripple_of(plan)
        # Of the callers alone: a signal handler may close the bench while one of them holds it.
        self._lock = threading.Lock()
        self._orders: queue.SimpleQueue[Callable[[LiveWork], None]] = queue.SimpleQueue()
        self._events: deque[LiveEvent] = deque(maxlen=MOST_EVENTS)
        self._wall = WallClock()
        self._paced = PacedClock()
        self._watch = Watch(plan, self._wall)
        self._thread: threading.Thread | None = None
        self._closing = False
        self._work: LiveWork | None = None
        self.crash: Exception | None = None
        """A mistake in edgewheel that ended the thread, for whoever shows it."""
        self.trouble: EdgewheelError | None = None
        """What failed as it was closed, for whoever shows it."""

    # Orders

    def start(self, rpm: Fraction) -> None:
        """Connect, if need be, and turn at a speed; a new record begins. If the engine turns
        already, the same as `speed`. Raises UsageError for a speed that cannot be.
        """
        _check(rpm)
        begun(self._plan.signal.motion, rpm, self._ripple)
        if self._thread is None:
            self._thread = threading.Thread(target=self._play, name="edgewheel-live", daemon=True)
            self._thread.start()
        self._order(lambda work: work.begin(rpm))

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
        self._order(lambda work: work.park())

    def close(self) -> None:
        """Park, finish the record and end the thread; waits for that, a second at most on a board
        that does not answer.
        """
        self._closing = True
        self._order(lambda work: work.park())
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
        return self._work.motion if self._work is not None else None

    # The thread

    def _order(self, order: Callable[[LiveWork], None]) -> None:
        self._orders.put(order)
        self._paced.wake()

    def _order_change(
        self, speed: SpeedWish | None, faults: LiveFaults, once: frozenset[str] = frozenset()
    ) -> None:
        asked_ns = self._wall.now_ns()
        self._order(lambda work: work.change(asked_ns, speed, faults.wish(once)))

    def _play(self) -> None:
        try:
            self._work = work = self._make_work()
            work.play(lambda: self._closing)
        except EdgewheelError as error:
            self.trouble = error
            self._end(LivePhase.CLOSED, str(error))
        except Exception as error:
            self._end(LivePhase.LOST, f"edgewheel has made a mistake: {error!r}")
            self.crash = error

    def _make_work(self) -> LiveWork:
        # What plays is imported by whoever begins to play.
        from edgewheel.bench.live.work import LiveWork

        return LiveWork(
            self._plan,
            self._runs,
            self._orders,
            self._paced,
            self._watch,
            lambda: self._faults.wish(),
            self._events.append,
        )

    def _end(self, phase: LivePhase, why: str) -> None:
        if self._watch.enter(phase, why):
            self._events.append(PhaseChanged(phase, why))


def _check(rpm: Fraction) -> None:
    if not 0 <= rpm <= HIGHEST_RPM:
        raise UsageError(f"{float(rpm):g} rpm cannot be. Stay within 0 to {HIGHEST_RPM} rpm.")

"""A bench that is fed by hand: no thread, no time."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from edgewheel.bench.live.settings import LiveFaults
from edgewheel.bench.live.state import LivePhase, LiveState
from edgewheel.console.desk import FIRST, Desk


class MockBench:
    """Shows the state that it is given; notes the orders."""

    def __init__(self, plan, runs):
        self.plan, self.runs = plan, runs
        self.faults = LiveFaults.of(plan)
        self.orders = []
        self.events = []
        self.motion = None
        self.crash = self.trouble = None
        self.state = LiveState(faults=self.faults.states)

    def be(self, **changes):
        self.state = replace(self.state, **changes)

    def start(self, rpm):
        self.orders.append(("start", rpm))
        self.be(phase=LivePhase.TURNING, set_rpm=float(rpm), pin_rpm=float(rpm))

    def speed(self, rpm, rpm_per_s=None):
        self.orders.append(("speed", rpm, rpm_per_s))
        self.be(set_rpm=float(rpm), pin_rpm=float(rpm))

    def fault(self, name, state):
        self.orders.append(("fault", name, state))
        self.faults = self.faults.switched(name, state)
        active = tuple(n for n, s in self.faults.states.items() if s != "off")
        self.be(faults=self.faults.states, active=active)

    def edit(self, address, text):
        self.faults = self.faults.edited(address, text)
        self.orders.append(("edit", address, text))

    def park(self):
        self.orders.append(("park",))
        self.be(phase=LivePhase.PARKED)

    def close(self):
        self.orders.append(("close",))
        self.be(phase=LivePhase.CLOSED)

    def drain(self):
        events, self.events = self.events, []
        return events


def mock_desk(file=FIRST, runs=Path("runs")):
    """A desk with a bench of this kind."""
    return Desk(file, runs, MockBench)


RPM = Fraction(850)

"""Pulses of a controller's outputs count from the levels that the inputs had when it was armed."""

import pytest

from edgewheel.bench.events import Pulsed
from edgewheel.bench.follow import Follower
from edgewheel.bench.links import Heard
from edgewheel.bench.loader import load_plan
from edgewheel.cli.demo import BENCH
from edgewheel.link.events import PulsesCaptured, RunStarted

HZ = 125_000_000


@pytest.mark.parametrize(("armed", "pulses"), [(0b01, [("b", 1)]), (0b00, [("a", 1), ("b", 1)])])
def test_a_line_that_was_high_at_arm_has_not_risen(armed, pulses):
    follower = Follower(load_plan(BENCH), HZ, 0, ("a", "b"), 0)
    events = (RunStarted(1, 1000, armed), PulsesCaptured(0, (2000,), (0b11,)))
    seen = follower.take(Heard(events, (), 3000))
    assert [(one.line, one.level) for one in seen if isinstance(one, Pulsed)] == pulses

"""A line that does nothing is said to, wherever it lies."""

from fractions import Fraction

import numpy as np
import pytest

from edgewheel.bench.signals import OutputLine
from edgewheel.bench.timing.measure import Commanded, measure
from edgewheel.bench.timing.silence import silences
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import hold
from edgewheel.wheel.library import find

RPM, CYCLE_S = 1000, 0.12
MOTION = Motion([hold(Fraction(RPM), seconds=Fraction(10))])
TEN = Commanded(np.empty(0), np.empty(0), 10.0, "")


def told(cycles, live):
    """What is said of a coil that fires in these cycles."""
    at = [CYCLE_S * cycle + 74 / (6 * RPM) for cycle in cycles]
    seconds = np.array([(s - 0.003, s) for s in at]).reshape(-1)
    edges = seconds, np.tile([1, 0], len(at))
    wheel = find("60-minus-2-half-moon-cam")
    coil = measure("coil_1", OutputLine("ignition", (1,)), edges, MOTION, wheel, TEN)
    return list(silences([coil], [live], MOTION))


@pytest.mark.parametrize(
    ("cycles", "said"),
    [
        ([*range(10), *range(12, 20)], []),
        ([*range(10), *range(15, 20)], ["coil_1: nothing from 1.092 to 1.812 s, for 6.0 cycles"]),
        (range(10), ["coil_1: nothing from 1.092 to 2.400 s, for 10.9 cycles"]),
        (range(10, 20), ["coil_1: nothing from 0.000 to 1.212 s, for 10.1 cycles"]),
        ([], ["coil_1: no pulse at all."]),
    ],
    ids=["a few missed", "amid a run", "to the end", "from the start", "dead"],
)
def test_a_line_that_does_nothing_for_long(cycles, said):
    found = told(cycles, (0.0, 20 * CYCLE_S))
    assert [text[: len(one)] for text, one in zip(found, said, strict=True)] == said


def test_a_cut_and_a_loss_of_sync_are_no_silence():
    assert told(range(10), (0.0, 10 * CYCLE_S)) == []

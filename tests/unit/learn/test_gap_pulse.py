"""A pulse within a gap once: the gap still counts as three pitches, and the wheel is found."""

import numpy as np
import pytest

from captures import capture_of, table
from edgewheel.edges.table import EdgeChunk
from edgewheel.learn.learn import learn
from edgewheel.learn.slots import pitch_slots

WHEEL = "60-minus-2-half-moon-cam"


@pytest.mark.parametrize("at", [0.5, 1.0, 1.4, 1.5, 1.6, 2.0])
def test_an_edge_within_a_gap_shifts_no_slot_behind_it(at):
    teeth = np.delete(np.arange(300.0), [[58 + 60 * turn, 59 + 60 * turn] for turn in range(5)])
    extra = 177 + at
    times = np.sort(np.append(teeth, extra))
    slots = pitch_slots(times).slot[times != extra]
    assert slots[-1] == teeth[-1]
    assert (slots[slots >= 0] == teeth[slots >= 0]).all()


@pytest.mark.parametrize("motion", ["steady", "up"])
def test_one_pulse_in_one_gap_hides_no_wheel(motion):
    header, edges = table(WHEEL, motion)
    rises = edges.ticks[(edges.track == 0) & (edges.level == 1)]
    gaps = np.diff(rises)
    gap = int(np.flatnonzero(gaps > 2 * np.median(gaps))[10])
    begin = round(rises[gap] + gaps[gap] / 2)
    ticks = np.append(edges.ticks, [begin, round(begin + gaps[gap] * 2 / 15)])
    track = np.append(edges.track, [0, 0]).astype(np.uint8)
    level = np.append(edges.level, [1, 0]).astype(np.uint8)
    order = np.argsort(ticks, kind="stable")
    learned = learn(capture_of(header, EdgeChunk(ticks[order], track[order], level[order])))
    assert learned.sure and learned.best.like is not None
    assert learned.best.like.name == WHEEL and learned.best.like.off_deg < 0.01

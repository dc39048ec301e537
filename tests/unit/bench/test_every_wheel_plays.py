"""What the board plays is the pin table, and what the controller sees is the edge table."""

from fractions import Fraction

import numpy as np
import pytest

from edgewheel.board.run import SimSettings
from edgewheel.edges.stage import OutputStage
from edgewheel.edges.table import EdgeChunk, join
from edgewheel.fault.pipeline import Pipeline, SignalPlan
from edgewheel.link.events import RunEnded
from edgewheel.link.hostrun import RunOrder
from edgewheel.link.pinbus import Transitions, Wiring
from edgewheel.link.sim_link import LinkFaults
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold, ramp
from edgewheel.wheel.library import names
from library_wheels import library_levels
from sim_bench import Bench

HZ = 125_000_000
BAD_LINK = LinkFaults(drop=0.05, duplicate=0.05, reorder=0.05, corrupt=0.05, truncate=0.05)
SOME_FRAMES = 500
"""Transitions that fill so many frames that the link is sure to strike one."""

RIPPLE = CompressionRipple(Fraction(1, 4), Fraction(2))
MOTIONS = {
    "hold": [hold(Fraction("3000.7"), seconds=Fraction(1, 2))],
    "crank": [ramp(Fraction(0), Fraction(250), seconds=Fraction(1, 2), ripple=RIPPLE)],
    "up and back": [
        ramp(Fraction(0), Fraction(6000), seconds=Fraction(1, 4)),
        ramp(Fraction(6000), Fraction(0), seconds=Fraction(1, 4)),
        ramp(Fraction(0), Fraction(-300), seconds=Fraction(1, 4)),
    ],
}


def played(pipeline: Pipeline, stage: OutputStage, **link) -> tuple[Bench, RunEnded, int]:
    """A bench on which the whole table was played, how it ended, and the lead."""
    bench = Bench(SimSettings(tick_hz=HZ), **link)
    lead = HZ // 1000 + stage.longest_ticks
    maker, source = pipeline.pins(stage, lead, bench.board.settings.shortest_hold_ticks)
    bench.session.open_run(RunOrder(maker.header, source))
    bench.loop.settle()
    return bench, bench.until(RunEnded), lead


@pytest.mark.parametrize("motion", MOTIONS)
@pytest.mark.parametrize("wheel", names())
def test_every_wheel_is_played_to_the_tick_over_a_bad_link(wheel, motion):
    levels = library_levels(wheel)
    pipeline = Pipeline(SignalPlan(levels, Motion(MOTIONS[motion])), HZ)
    stage = OutputStage.straight(len(levels.tracks))
    faults = LinkFaults() if motion == "hold" else BAD_LINK
    bench, ended, lead = played(pipeline, stage, faults=faults, seed=7)
    assert ended.verified
    _, chunks = pipeline.pins(stage, lead, 5)
    table = list(chunks)
    ticks = np.concatenate([chunk.ticks for chunk in table])
    masks = np.concatenate([chunk.masks for chunk in table])
    seen = of_the_run(bench, ended)
    np.testing.assert_array_equal(seen.ticks[: len(ticks)] - ended.start_tick, ticks)
    np.testing.assert_array_equal(seen.masks[: len(ticks)], masks)
    if motion == "up and back" and len(ticks) > SOME_FRAMES:
        assert ended.quality.bad_from_host + ended.quality.retransmits > 0


def test_through_an_inverting_slow_stage_the_connector_sees_the_edge_table():
    levels = library_levels("60-minus-2-half-moon-cam")
    pipeline = Pipeline(SignalPlan(levels, Motion(MOTIONS["up and back"])), HZ)
    stage = OutputStage((True, False), (900, 40), (100, 2500))
    bench, ended, lead = played(pipeline, stage)
    wiring = Wiring(stage, stage.pin_mask(levels.initial))
    pins = of_the_run(bench, ended)
    seen = wiring.pass_on(pins, int(pins.ticks[-1]) + stage.longest_ticks)
    found = connector_edges(seen, levels.initial, ended.start_tick + lead)
    assert found == rows(join(*pipeline.edges()))


def of_the_run(bench: Bench, ended: RunEnded) -> Transitions:
    """What reached the pins after START; the initial levels were set before."""
    inside = bench.pins.ticks > ended.start_tick
    return Transitions(bench.pins.ticks[inside], bench.pins.masks[inside])


def connector_edges(seen, initial, origin) -> list[tuple[int, int, int]]:
    edges, mask = [], sum(level << track for track, level in enumerate(initial))
    for tick, after in zip(seen.ticks.tolist(), seen.masks.tolist(), strict=True):
        for track in range(len(initial)):
            if (mask ^ after) >> track & 1:
                edges.append((tick - origin, track, after >> track & 1))
        mask = after
    return edges


def rows(chunk: EdgeChunk) -> list[tuple[int, int, int]]:
    columns = (chunk.ticks.tolist(), chunk.track.tolist(), chunk.level.tolist())
    return list(zip(*columns, strict=True))

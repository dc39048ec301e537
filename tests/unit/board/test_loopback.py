"""Pulses that went round are matched with those sent: which wire, how late, what is missing."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewheel.board.loopback import HOLD_MS, PULSES, PulseTable

HZ = 16_000_000
START = 123_456_789
TABLE = PulseTable(range(8), HZ, 1000)
(CHUNK,) = TABLE.chunks()
ENDS = 2 * (PULSES + 1)


def sent(output):
    """Board ticks and levels of one output's edges."""
    levels = CHUNK.masks >> output & 1
    before = np.concatenate(([0], levels[:-1]))
    at = np.flatnonzero(levels != before)
    return [(START + int(CHUNK.ticks[n]), int(levels[n])) for n in at]


def captured(changes, levels=0):
    """Changes (tick, line, level) as a board captures them: ticks and levels of all inputs."""
    ticks, masks = [], []
    for tick, line, level in sorted(changes):
        levels = levels & ~(1 << line) | level << line
        ticks.append(tick)
        masks.append(levels)
    return ticks, masks


def test_outputs_take_turns_and_hold_long_enough():
    assert len(TABLE) == 8 * ENDS
    assert (np.diff(CHUNK.ticks) == HOLD_MS * HZ // 1000).all()
    assert [len(sent(output)) for output in range(8)] == [ENDS] * 8
    assert all(mask.bit_count() <= 1 for mask in CHUNK.masks.tolist())


@given(
    output=st.integers(0, 7),
    line=st.integers(0, 7),
    rise=st.integers(0, 90_000),
    fall=st.integers(0, 90_000),
    jitter=st.integers(0, 500),
    inverts=st.booleans(),
    rest=st.integers(0, 255),
)
def test_a_wire_is_found_with_its_delays(output, line, rise, fall, jitter, inverts, rest):
    changes = []
    for n, (tick, level) in enumerate(sent(output)):
        late = (rise if level else fall) + jitter * (n % 3)
        changes.append((tick + late, line, level ^ inverts))
    rest = rest & ~(1 << line) | inverts << line
    (loop,) = TABLE.loops(START, *captured(changes, rest))
    assert (loop.output, loop.input, loop.inverts) == (output, line, inverts)
    assert (loop.missing, loop.extra) == (0, 0)
    for delay, ticks, phase in ((loop.rise, rise, 0), (loop.fall, fall, 1)):
        lates = [(ticks + jitter * (n % 3)) / HZ for n in range(2 + phase, ENDS, 2)]
        assert delay.mean_s == pytest.approx(np.mean(lates), abs=1e-12)
        assert delay.deviation_s == pytest.approx(np.std(lates), abs=1e-12)
        assert delay.spread_s == pytest.approx(max(lates) - min(lates), abs=1e-12)


def test_two_wires_at_once_and_one_output_to_two_inputs():
    changes = [(tick + 10, 3, level) for tick, level in sent(0)]
    changes += [(tick + 20, 4, level) for tick, level in sent(0)]
    changes += [(tick + 30, 3, level) for tick, level in sent(5)]
    loops = TABLE.loops(START, *captured(changes))
    assert {(loop.output, loop.input) for loop in loops} == {(0, 3), (0, 4), (5, 3)}


def test_edges_that_are_missing_or_too_many_are_counted():
    whole = [(tick + 10, 0, level) for tick, level in sent(2)]
    lost_pulse = whole[:8] + whole[10:]
    (loop,) = TABLE.loops(START, *captured(lost_pulse))
    assert (loop.missing, loop.extra) == (2, 0)
    bounce = [(tick + 40, 0, 1 - level) for tick, _, level in whole[6:7]]
    bounce += [(tick + 70, 0, level) for tick, _, level in whole[6:7]]
    (loop,) = TABLE.loops(START, *captured(whole + bounce))
    assert (loop.missing, loop.extra) == (0, 2)
    assert loop.rise.mean_s == pytest.approx(10 / HZ)


def test_what_a_controller_does_by_itself_is_no_wire():
    every_5_ms = [(START + n * 5 * HZ // 1000, 1, n & 1) for n in range(300)]
    assert TABLE.loops(START, *captured(every_5_ms)) == []
    assert TABLE.loops(START, [], []) == []

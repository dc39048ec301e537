"""From the pin to the accepted edge: each stage against what its circuit must do."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from edgewheel.controller.sim.inputs import EdgeGate, LineInput, NoiseFilter, RcInput
from edgewheel.controller.sim.settings import InputSettings, RcSettings

TICK_HZ = 10_000_000
LONG_AFTER = 1 << 40


def arrays(ticks, first_level=1):
    levels = (np.arange(len(ticks)) + first_level) & 1
    return np.array(ticks, dtype=np.int64), levels.astype(np.uint8)


def pushed(stage, ticks, first_level=1, now=LONG_AFTER):
    out_ticks, out_levels = stage.push(*arrays(ticks, first_level), now)
    return list(zip(out_ticks.tolist(), out_levels.tolist(), strict=True))


def rc(rise_us=10.0, fall_us=10.0, upper=50.0, lower=50.0 - 1e-9, level=0):
    return RcInput(RcSettings(rise_us, fall_us, upper, lower), TICK_HZ, level)


def test_half_the_supply_is_reached_after_0_693_time_constants():
    # Horowitz and Hill, The Art of Electronics, 3rd ed., section 1.4; the value from memory
    ((tick, level),) = pushed(rc(rise_us=10_000.0), [1000])
    assert level == 1
    assert (tick - 1000) / 100_000 == pytest.approx(0.693, abs=1e-3)


def test_a_pull_up_is_slow_and_an_open_collector_is_fast():
    rise, fall = pushed(rc(rise_us=47.0, fall_us=1.0), [1000, 50_000])
    assert rise == (1000 + math.ceil(470 * math.log(2)), 1)
    assert fall == (50_000 + math.ceil(10 * math.log(2)), 0)


def test_a_pulse_too_short_to_reach_the_threshold_vanishes():
    threshold_ticks = math.ceil(100 * math.log(2))
    assert pushed(rc(), [1000, 1000 + threshold_ticks - 2]) == []
    assert len(pushed(rc(), [1000, 1000 + threshold_ticks + 2])) == 2


def test_hysteresis_holds_the_level_through_a_ripple_between_its_thresholds():
    ripple = [1000, 1120, 1160, 1200, 1240, 1280, 1320]
    assert len(pushed(rc(upper=60.0, lower=59.9), ripple)) > 1
    assert pushed(rc(upper=60.0, lower=30.0), ripple) == [
        (1000 + math.ceil(-100 * math.log(0.4)), 1)
    ]


def test_charges_through_a_train_as_the_differential_equation_does():
    edges = [100, 190, 250, 330, 470, 500, 560, 900]
    settings = RcSettings(12.0, 5.0, 60.0, 40.0)
    crossings = pushed(RcInput(settings, TICK_HZ, 0), edges)
    voltage, expected, output = 0.0, [], 0
    for number, (begin, end) in enumerate(zip(edges, [*edges[1:], 5000], strict=True)):
        target = 1 - number % 2
        constant = (50.0, 120.0)[target]

        def slope(_t, v, target=target, constant=constant):
            return [(target - v[0]) / constant]

        def crosses(_t, v, target=target):
            return v[0] - (0.4, 0.6)[target]

        found = solve_ivp(slope, (begin, end), [voltage], events=crosses, rtol=1e-10, atol=1e-12)
        voltage = found.y[0, -1]
        if target != output and len(found.t_events[0]):
            expected.append((math.ceil(found.t_events[0][0]), target))
            output = target
    assert crossings == expected


def test_the_filter_ignores_what_is_shorter_and_delays_the_rest():
    stage = NoiseFilter(50, 0)
    assert pushed(stage, [100, 149, 300, 350, 500, 549]) == [(350, 1), (400, 0)]


def test_a_dip_shorter_than_the_filter_is_not_seen():
    assert pushed(NoiseFilter(50, 0), [100, 300, 320, 600]) == [(150, 1), (650, 0)]


def test_the_filter_decides_no_sooner_than_it_can():
    stage = NoiseFilter(50, 0)
    assert pushed(stage, [100], now=149) == []
    assert pushed(stage, [], now=150) == [(150, 1)]


@pytest.mark.parametrize(
    ("edge", "expected"),
    [("rising", [10, 30]), ("falling", [20, 40]), ("both", [10, 20, 30, 40])],
)
def test_the_gate_chooses_edges(edge, expected):
    assert [
        tick for tick, _ in gated(EdgeGate(edge, 0, 0.0, 1 << 30), [10, 20, 30, 40])
    ] == expected


def gated(gate, ticks):
    out_ticks, levels = gate.push(*arrays(ticks))
    return list(zip(out_ticks.tolist(), levels.tolist(), strict=True))


def test_fixed_blanking_counts_from_the_accepted_edge():
    gate = EdgeGate("both", 100, 0.0, 1 << 30)
    assert [tick for tick, _ in gated(gate, [10, 60, 109, 110, 150, 215])] == [10, 110, 215]


def test_blanking_in_percent_of_the_last_accepted_period():
    gate = EdgeGate("both", 0, 0.2, 1 << 30)
    # the bounce at 19 % of the period is blanked, the one at 21 % is not
    assert [tick for tick, _ in gated(gate, [1000, 2000, 2190, 2210])] == [1000, 2000, 2210]


def test_a_standstill_is_no_period_to_blank_by():
    gate = EdgeGate("both", 0, 0.2, 5000)
    assert [tick for tick, _ in gated(gate, [1000, 90_000, 91_000])] == [1000, 90_000, 91_000]


gaps = st.lists(st.integers(1, 400), min_size=1, max_size=60)


@given(gaps, st.lists(st.integers(0, 12_000), max_size=6))
def test_no_stage_depends_on_how_the_stream_is_cut(gaps, cuts):
    settings = InputSettings(
        "crank", "both", True, RcSettings(6.0, 3.0, 60.0, 40.0), 4.0, 8.0, 30.0
    )
    ticks, levels = arrays(np.cumsum(gaps).tolist())
    end = 20_000
    whole, pieces = (LineInput(settings, TICK_HZ, 0, 1 << 30) for _ in range(2))
    expected = [array.tolist() for changes in whole.push(ticks, levels, end) for array in changes]
    collected = [[], [], [], []]
    begin = 0
    for now in [*sorted(cuts), end]:
        stop = int(np.searchsorted(ticks, now, side="right"))
        out = pieces.push(ticks[begin:stop], levels[begin:stop], now)
        for column, array in zip(collected, (a for pair in out for a in pair), strict=True):
            column += array.tolist()
        begin = stop
    assert collected == expected


@given(gaps)
def test_the_quick_way_through_the_gate_keeps_the_same_edges_as_the_slow_one(gaps):
    ticks, levels = arrays(np.cumsum(gaps).tolist())
    quick, slow = (EdgeGate("both", 90, 0.4, 350) for _ in range(2))
    one_by_one = [
        slow.push(ticks[k : k + 1], levels[k : k + 1])[0].tolist() for k in range(len(ticks))
    ]
    assert quick.push(ticks, levels)[0].tolist() == [tick for found in one_by_one for tick in found]

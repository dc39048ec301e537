"""Whatever comes in: nothing crashes, outputs stay lawful, the cuts do not matter."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgewheel.controller.sim.controller import SimController
from sim_trains import TICK_HZ, WHEELS, run, settings_from, steady, train

NAMES = sorted(WHEELS)


def all_outputs(name, **changes):
    wheel = WHEELS[name]
    return settings_from(wheel.settings, "injection: {duration_ms: 4}", "tacho: {}", **changes)


def check_lawful(result):
    ticks = [pulse.tick for pulse in result.pulses]
    assert ticks == sorted(ticks)
    for line in range(len(result.outputs)):
        levels = [pulse.level for pulse in result.pulses if pulse.line == line]
        assert all(a != b for a, b in pairwise(levels))
    assert all(a <= b for (a, _), (b, _) in pairwise(result.lines))
    assert all(a.losses <= b.losses for a, b in pairwise(result.reports))


@pytest.mark.parametrize("name", NAMES)
@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), cut_ms=st.sampled_from([2, 11, 60]))
def test_a_signal_full_of_holes_and_noise(name, seed, cut_ms):
    random = np.random.default_rng(seed)
    signal = train(
        WHEELS[name].pulses, steady(random.uniform(100, 8000)), 12, random.uniform(0, 720)
    )
    count = len(signal.ticks)
    keep = np.ones(count, bool)
    for at in random.integers(0, count, 4):
        keep[at : at + random.integers(1, 1 + count // 20)] = False
    noise_ticks = random.integers(signal.ticks[0], signal.ticks[-1], 12)
    ticks, first = np.unique(np.concatenate((signal.ticks[keep], noise_ticks)), return_index=True)
    noise = random.integers(0, 1 << len(signal.lines), 12, dtype=np.uint8)
    masks = np.concatenate((signal.masks[keep], noise))[first]
    broken = type(signal)(signal.lines, signal.initial_mask, ticks, masks)
    chosen = all_outputs(name)
    whole = run(broken, chosen, rest_s=0.7, cut_ticks=1 << 40)
    check_lawful(whole)
    assert run(broken, chosen, rest_s=0.7, cut_ticks=cut_ms * TICK_HZ // 1000) == whole


@pytest.mark.parametrize("name", NAMES)
@settings(max_examples=10, deadline=None)
@given(gaps=st.lists(st.integers(1, 300_000), min_size=1, max_size=300), seed=st.integers(0, 999))
def test_pure_noise(name, gaps, seed):
    signal = train(WHEELS[name].pulses, steady(1000), 1)
    masks = np.random.default_rng(seed).integers(0, 4, len(gaps), dtype=np.uint8)
    noise = type(signal)(signal.lines, 0, 1 + np.cumsum(gaps), masks)
    check_lawful(run(noise, all_outputs(name), rest_s=0.5))


def test_time_that_goes_back_is_refused():
    controller = SimController(settings_from(WHEELS["36-1"].settings), TICK_HZ, ("crank",), 0)
    controller.feed([10], [1], 20)
    for ticks, now in (([], 19), ([20], 30), ([25, 31], 30)):
        with pytest.raises(ValueError, match="do not follow"):
            controller.feed(ticks, [0] * len(ticks), now)


def test_a_board_clock_that_has_run_for_a_day_is_as_good_as_a_new_one():
    later = 86_400 * TICK_HZ
    wheel = WHEELS["60-2 with half-moon cam"]
    signal = train(wheel.pulses, steady(3000), 12)
    chosen = settings_from(wheel.settings)
    new, old = (
        SimController(chosen, TICK_HZ, signal.lines, signal.initial_mask, power_up_tick=tick)
        for tick in (0, later)
    )
    end = int(signal.ticks[-1])
    expected = new.feed(signal.ticks, signal.masks, end)
    found = old.feed(signal.ticks + later, signal.masks, end + later)
    assert [(p.tick - later, p.line, p.level) for p in found.pulses] == [
        (p.tick, p.line, p.level) for p in expected.pulses
    ]
    assert [line for _, line in found.serial] == [line for _, line in expected.serial]

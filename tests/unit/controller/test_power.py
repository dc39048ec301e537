"""A controller whose supply goes and comes while the engine turns."""

import numpy as np
import pytest

from edgewheel.controller.sim.controller import SimController
from edgewheel.controller.sim.power import SwitchedController
from sim_trains import TICK_HZ, WHEELS, settings_from, steady, train

MS = TICK_HZ // 1000
WHEEL = WHEELS["60-2 with half-moon cam"]
BOOT_MS = 150
SUPPLY = 4  # the mask of a third line


@pytest.fixture(scope="module")
def chosen():
    return settings_from(WHEEL.settings, f"power: {{boot_ms: {BOOT_MS}}}")


def switched_train(*switches: tuple[int, int]):
    """Ticks and masks of a steady engine, with the supply's levels from some ticks on."""
    signal = train(WHEEL.pulses, steady(1500), 20)
    ticks, masks = list(signal.ticks), list(signal.masks)
    for tick, _ in switches:
        at = int(np.searchsorted(ticks, tick))
        ticks.insert(at, tick)
        masks.insert(at, masks[at - 1] if at else signal.initial_mask)
    levels = [
        next((level for tick, level in reversed(switches) if tick <= at), None) for at in ticks
    ]
    return signal, np.array(ticks), masks, levels


def played(chosen, switches, first, cut=40 * MS):
    signal, ticks, masks, levels = switched_train(*switches)
    on = [first if level is None else level for level in levels]
    masks = np.array(masks, np.uint8) | np.array(on, np.uint8) * np.uint8(SUPPLY)
    lines = (*signal.lines, "supply")
    start = signal.initial_mask | SUPPLY * first
    controller = SwitchedController(chosen, TICK_HZ, lines, start, "supply")
    pulses, serial, before = [], [], -1
    for now in [*range(cut, int(ticks[-1]), cut), int(ticks[-1])]:
        here = (ticks > before) & (ticks <= now)
        before = now
        output = controller.feed(ticks[here], masks[here], now)
        pulses += output.pulses
        serial += output.serial
    return controller, pulses, serial


def test_outputs_rest_and_nothing_is_said_once_the_supply_has_gone(chosen):
    _, whole, _ = played(chosen, (), 1)
    charging = next(p for p in whole if p.level == 1 and p.tick > 300 * MS)
    gone = charging.tick + MS
    controller, pulses, serial = played(chosen, ((gone, 0),), 1)
    assert [p for p in pulses if p.tick < gone] == [p for p in whole if p.tick < gone]
    (fallen,) = [p for p in pulses if p.tick >= gone]
    assert (fallen.tick, fallen.line, fallen.level) == (gone, charging.line, 0)
    assert controller.output_levels[charging.line] == 0
    assert max(tick for tick, _ in serial) <= gone


def test_it_begins_with_nothing_known_once_it_has_booted(chosen):
    on = 200 * MS
    _, pulses, serial = played(chosen, ((on, 1),), 0)
    signal = train(WHEEL.pulses, steady(1500), 20)
    boots = on + BOOT_MS * MS
    later = signal.ticks >= boots
    mask = int(signal.masks[np.flatnonzero(later)[0] - 1])
    fresh = SimController(chosen, TICK_HZ, signal.lines, mask, power_up_tick=boots)
    expected = fresh.feed(signal.ticks[later], signal.masks[later], int(signal.ticks[-1]))
    assert tuple(pulses) == expected.pulses
    assert tuple(serial) == expected.serial
    assert b"t=0.0" in serial[0][1]


def test_a_supply_that_comes_and_goes_within_the_boot_leaves_it_dead(chosen):
    on = 200 * MS
    _, pulses, serial = played(chosen, ((on, 1), (on + (BOOT_MS - 1) * MS, 0)), 0)
    assert not pulses and not serial


@pytest.mark.parametrize("cut_ms", [1, 7, 1000])
def test_how_the_stream_is_cut_does_not_matter(chosen, cut_ms):
    switches = ((150 * MS + 1, 0), (220 * MS, 1))
    _, *expected = played(chosen, switches, 1)
    _, *found = played(chosen, switches, 1, cut=cut_ms * MS)
    assert found == expected

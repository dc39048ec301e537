"""No fault depends on the sizes of chunks, and each says all that it changed.

Four even teeth at 1000 rpm and a clock of a megahertz: tooth n of turn t rises at
60,000 (t - 1) + 15,000 (n - 1) and falls 7,500 ticks later; a degree is 166 2/3 ticks.
"""

from fractions import Fraction
from itertools import pairwise

import pytest

from edgewheel.fault.ontrack import HORIZON_S
from edgewheel.motion.manoeuvres import rock
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import hold, ramp
from edgewheel.wheel.model import Sensor
from signals import HZ, Signal, faulty, sound, turns

ALL = {
    "dropped_tooth": "track: crank, chance: 0.4",
    "late_tooth": "track: crank, deg: 8, every: 3",
    "extra_pulse": "track: crank, width_us: 400, chance: 0.5",
    "bounce": "track: crank, delay_percent: 7, width_us: 40, count: 3",
    "noise": "tracks: [crank, cam], width_us: 30, bursts_per_s: 200, pulses: 3",
    "jitter": "track: crank, us: 900",
    "weak_signal": "track: crank, peak_mv_at_1000_rpm: 400, threshold_mv: 390, runout_percent: 9",
    "loose": "track: crank, lasts_ms: 9, breaks_per_s: 40, shows: low",
    "lost": "track: cam, shows: low, from_turn: 0.7, to_turn: 5.2",
    "polarity": "track: crank, from_rpm: 1100, to_rpm: 1500",
    "swapped": "track: crank, other: cam, from_s: 0.05, to_s: 0.2",
    "wandering": "track: cam, range_deg: 30, period_s: 0.3",
}
MOTION = Motion(
    [
        ramp(Fraction(500), Fraction(2000), turns=Fraction(5)),
        hold(Fraction(0), seconds=Fraction(1, 20)),
        hold(Fraction(-800), turns=Fraction(2)),
        hold(Fraction(900), turns=Fraction(2)),
    ],
    Fraction(20),
)


@pytest.mark.parametrize("kind", ALL)
@pytest.mark.parametrize("size", [1, 3, 8])
def test_no_chunk_matters_to_any_fault(kind, size):
    signal = faulty(f"kind: {kind}, {ALL[kind]}", motion=MOTION)
    assert signal.in_chunks(size) == signal.rows
    assert signal.changes


def test_a_voltage_that_turns_over_between_two_crossings_is_no_tooth_to_any_fault():
    rocking = Motion([hold(Fraction(600), turns=Fraction(4, 3)),
                      *rock(Fraction(9), Fraction(1), 2, Fraction(1))])  # fmt: skip
    signal = faulty("kind: jitter, track: crank, us: 20", motion=rocking,
                    sensors={"crank": Sensor("vr")})  # fmt: skip
    assert len(signal.on("crank")) > 10
    assert signal.in_chunks(1) == signal.rows


@pytest.mark.parametrize("offset", range(-9, 10, 3))
@pytest.mark.parametrize("size", [1, 2, 5])
def test_no_chunk_matters_where_a_line_is_switched_beside_an_edge(offset, size):
    """At 16 MHz eight ticks are 0.5 us; tooth 2 begins at 15 ms, tooth 3 at 30 ms."""
    begin, end = (Fraction(ms, 1000) + Fraction(offset, 16_000_000) for ms in (15, 30))
    signal = faulty(
        f"kind: lost, track: crank, shows: high, from_s: {begin}, to_s: {end}", tick_hz=16_000_000
    )
    assert signal.in_chunks(size) == signal.rows
    ticks = [tick for tick, _ in signal.on("crank")]
    assert min(b - a for a, b in pairwise(ticks)) >= 8


@pytest.mark.parametrize("size", [1, 2, 5])
def test_no_chunk_matters_to_noise_that_lasts_longer_than_a_chunk(size):
    signal = faulty("kind: noise, tracks: [cam], width_us: 9000, bursts_per_s: 60")
    assert signal.in_chunks(size) == signal.rows
    assert len(signal.changes) > 8


def test_faults_together_do_not_depend_on_chunks_and_each_draws_as_if_alone():
    words = ", ".join(f"{kind}: {{kind: {kind}, {more}}}" for kind, more in ALL.items())
    signal = Signal(f"{{{words}}}", motion=MOTION)
    signal.check_playable()
    for size in (1, 5, 1000):
        assert signal.in_chunks(size) == signal.rows
    alone = Signal(f"{{dropped_tooth: {{kind: dropped_tooth, {ALL['dropped_tooth']}}}}}",
                   motion=MOTION)  # fmt: skip
    assert signal.pipeline.changes["dropped_tooth"].kept == (
        alone.pipeline.changes["dropped_tooth"].kept
    )


@pytest.mark.parametrize("kind", ALL)
def test_changes_are_all_that_changed(kind):
    """Replayed on the sound table, what a fault says it did gives the faulty table."""
    whole = sound(motion=MOTION)
    signal = faulty(f"kind: {kind}, {ALL[kind]}", motion=MOTION)
    table = {(tick, track): level for tick, track, level in whole.rows}
    kept = signal.pipeline.changes["fault"].kept
    for change in kept:
        if change.kind in ("removed", "moved"):
            del table[change.tick, change.track]
    for change in kept:
        if change.kind != "removed":
            table[change.to_tick, change.track] = change.level
    assert sorted((t, n, v) for (t, n), v in table.items()) == sorted(signal.rows)


def test_a_line_that_falls_silent_does_not_hold_up_the_others():
    """A cam that jitters, and is lost after a turn: the crank's edges still come in time."""
    words = "{lost: {kind: lost, track: cam, from_turn: 1}, j: {kind: jitter, track: cam, us: 9}}"
    signal = Signal(words, motion=turns(800))
    seen, held = [0], []

    def watched():
        for chunk in signal.sound_chunks(8):
            seen.append(int(chunk.ticks[-1]))
            yield chunk

    last = 0
    for chunk in signal.let_go(watched()):
        last = int(chunk.ticks[-1]) if len(chunk) else last
        held.append(seen[-1] - last)
    assert max(held) < 2.2 * HORIZON_S * HZ < seen[-1] / 3
    assert last == signal.edges.ticks[-1]

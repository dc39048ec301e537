"""Each fault changes exactly the edges that it says, and says which.

Four even teeth at 1000 rpm and a clock of a megahertz: tooth n of turn t rises at
60,000 (t - 1) + 15,000 (n - 1) and falls 7,500 ticks later; a degree is 166 2/3 ticks.
"""

from fractions import Fraction
from itertools import pairwise

import pytest

from edgewheel.errors import UsageError
from edgewheel.fault.ontrack import HORIZON_S
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold, ramp
from edgewheel.wheel.model import Sensor
from signals import FOUR, HZ, Signal, sound, turns, wheel_of

CAM = [(1667, 1), (31_667, 0), (121_667, 1), (151_667, 0)]


def faulty(words: str, **how) -> Signal:
    signal = Signal(f"{{fault: {{{words}}}}}", motion=how.pop("motion", turns(3)), **how)
    signal.check_playable()
    return signal


def gone_and_new(words: str, **how):
    """(track, tick, level) of the edges that are only in the sound signal, only in the faulty."""
    one, other = sound(motion=how.get("motion", turns(3))), faulty(words, **how)
    return sorted(set(one.rows) - set(other.rows)), sorted(set(other.rows) - set(one.rows))


def test_a_dropped_tooth_takes_both_edges_with_it():
    gone, new = gone_and_new("kind: dropped_tooth, track: crank, teeth: [2], from_turn: 1")
    assert gone == [(t, "crank", v) for b in (75_000, 135_000) for t, v in ((b, 1), (b + 7500, 0))]
    assert new == []


def test_a_tooth_that_passes_by_half_is_not_dropped():
    """The crank starts on tooth 1, and turns round on tooth 3, which so passes as a pulse."""
    there_and_back = Motion(
        [
            hold(Fraction(1000), turns=Fraction(180, 360)),
            hold(Fraction(-1000), turns=Fraction(30, 360)),
        ],
        Fraction(20),
    )
    how = {"motion": there_and_back}
    gone, new = gone_and_new("kind: dropped_tooth, track: crank, teeth: [1, 3]", **how)
    assert gone == [(26_667, "crank", 1), (33_333, "crank", 0)]
    assert new == []


def test_a_dropped_vr_tooth_leaves_the_level_of_the_space_before_it():
    vr = {"crank": Sensor("vr")}
    whole = Signal(motion=turns(2), sensors=vr).on("crank")
    left = faulty("kind: dropped_tooth, track: crank, teeth: [2]", sensors=vr, motion=turns(2)).on(
        "crank"
    )
    assert sorted(set(whole) - set(left)) == [
        (18_750, 0), (26_250, 1), (78_750, 0), (86_250, 1)
    ]  # fmt: skip


def test_a_missing_vr_tooth_moves_the_crossing_of_the_space_to_its_new_middle():
    vr = {"crank": Sensor("vr")}
    edges = faulty("kind: missing_tooth, track: crank, teeth: [2]", sensors=vr, motion=turns(1))
    assert edges.on("crank") == [
        (3750, 0), (18_750, 1), (33_750, 0), (41_250, 1), (48_750, 0), (56_250, 1)
    ]  # fmt: skip


ACROSS = """
format: 1
name: Across
summary: one tooth lies across the end of the turn, and so does the middle of a space
period: 360
tracks:
  crank: {shaft: crank, teeth: [[60, 90], [SPAN]]}
"""


@pytest.mark.parametrize(
    ("span", "sensor", "edges"),
    [("350, 380", Sensor(), (350, 380)), ("300, 350", Sensor("vr"), (325, 385))],
)
def test_a_tooth_across_the_end_of_the_period_is_one_tooth(span, sensor, edges):
    """Tooth 2 is dropped on turns 2 and 4, with the edge of it that comes in the turn after."""
    how = {
        "wheel": wheel_of(ACROSS.replace("SPAN", span)),
        "sensors": {"crank": sensor},
        "motion": turns(5),
    }
    dropped = Signal("{a: {kind: dropped_tooth, track: crank, teeth: [2], every: 2}}", **how)
    gone = sorted(tick for _, tick, _ in dropped.changes)
    assert gone == [round((360 * turn + deg) * 500 / 3) for turn in (1, 3) for deg in edges]


def test_an_extra_pulse_stands_in_the_space_behind_its_tooth():
    gone, new = gone_and_new(
        "kind: extra_pulse, track: crank, teeth: [3], width_us: 100, at_percent: 20, every: 3"
    )
    assert gone == []
    assert new == [(159_000, "crank", 1), (159_100, "crank", 0)]


def test_an_extra_pulse_that_does_not_fit_is_left_out():
    assert gone_and_new("kind: extra_pulse, track: crank, width_us: 3750")[1] == []
    assert len(gone_and_new("kind: extra_pulse, track: crank, width_us: 3749")[1]) == 22


def test_jitter_stays_within_its_bounds_and_moves_every_edge_by_its_own_draw():
    one, other = sound().on("crank"), faulty("kind: jitter, track: crank, us: 50", motion=turns(2))
    moves = [b - a for (a, _), (b, _) in zip(one, other.on("crank"), strict=True)]
    assert all(-50 <= move <= 50 for move in moves)
    assert len(set(moves)) > 10
    assert other.on("cam") == sound().on("cam")
    assert [change[0] for change in other.changes] == ["moved"] * sum(map(bool, moves))


def test_jitter_in_degrees_is_jitter_in_time_at_the_speed_of_the_moment():
    slow, fast = (
        faulty("kind: jitter, track: crank, deg: 3", motion=turns(4, rpm)) for rpm in (500, 2000)
    )
    for one, other in zip(slow.on("crank")[1:], fast.on("crank")[1:], strict=True):
        assert abs(one[0] - 4 * other[0]) <= 4


def test_jitter_never_swaps_edges():
    signal = faulty("kind: jitter, track: crank, us: 100000, shape: normal", motion=turns(20))
    levels = [level for _, level in signal.on("crank")]
    assert levels == [1, 0] * 80
    assert signal.on("crank")[0][0] >= 0


def test_another_seed_or_another_name_gives_other_draws():
    words = "{kind: jitter, track: crank, us: 50}"
    signals = [
        Signal(f"{{a: {words}}}"),
        Signal(f"{{a: {words}}}", seed=1),
        Signal(f"{{b: {words}}}"),
    ]
    assert len({tuple(signal.rows) for signal in signals}) == 3
    assert Signal(f"{{a: {words}}}").rows == signals[0].rows


def test_a_late_tooth_keeps_its_width():
    gone, new = gone_and_new("kind: late_tooth, track: crank, teeth: [2], deg: 3, to_turn: 1")
    assert gone == [(15_000, "crank", 1), (22_500, "crank", 0)]
    assert new == [(15_500, "crank", 1), (23_000, "crank", 0)]


def test_one_late_edge_stops_before_the_next():
    words = "kind: late_tooth, track: crank, teeth: [2], us: 90000, edges: rise, to_turn: 1"
    assert gone_and_new(words)[1] == [(22_499, "crank", 1)]


def test_a_late_tooth_on_a_ramp_is_where_the_crank_is_three_degrees_on():
    motion = Motion([ramp(Fraction(300), Fraction(3000), turns=Fraction(3))])
    late = faulty("kind: late_tooth, track: crank, teeth: [2], deg: 3", motion=motion)
    bent = faulty("kind: bent_tooth, track: crank, teeth: [2], by_deg: 3", motion=motion)
    rises = [(a, b) for a, b in zip(late.on("crank"), bent.on("crank"), strict=True) if a[1] == 1]
    assert all(abs(a[0] - b[0]) <= 1 for a, b in rises)


def test_a_weak_signal_loses_the_teeth_below_the_threshold():
    """At 1000 rpm every tooth gives 400 mV, give or take 30 %: 520, 400, 280, 400."""
    words = "kind: weak_signal, track: crank, peak_mv_at_1000_rpm: 400, runout_percent: 30"
    gone, _ = gone_and_new(f"{words}, threshold_mv: 300")
    assert [row[0] for row in gone if row[2]] == [30_000, 90_000, 150_000]
    assert gone_and_new(f"{words}, threshold_mv: 279")[0] == []
    assert len(faulty(f"{words}, threshold_mv: 521").on("crank")) == 0


def test_compression_weakens_the_teeth_where_the_crank_is_slowest():
    """Slowest at 0 and 180 degrees: speed / mean is 0.745 there and 1.118 at 90 and 270."""
    ripple = CompressionRipple(Fraction(1, 5), Fraction(2))
    motion = Motion([hold(Fraction(1000), turns=Fraction(2), ripple=ripple)])
    words = "kind: weak_signal, track: crank, peak_mv_at_1000_rpm: 400, threshold_mv: 400"
    left = faulty(words, motion=motion).on("crank")
    whole = sound(motion=motion).on("crank")
    assert left == [row for number, row in enumerate(whole) if number // 2 % 2 == 1]


def test_a_lost_track_shows_what_it_is_told_to():
    words = "kind: lost, track: cam, from_s: 0.01, to_s: 0.13"
    assert faulty(words).on("cam") == [(1667, 1), (151_667, 0)]
    assert faulty(f"{words}, shows: low").on("cam") == [
        (1667, 1), (10_000, 0), (130_000, 1), (151_667, 0)
    ]  # fmt: skip
    assert faulty("kind: lost, track: cam, shows: high").header.initial == (0, 1)
    assert faulty("kind: lost, track: cam, shows: high").on("cam") == []


def test_a_loose_contact_opens_with_its_teeth():
    words = "kind: loose, track: crank, teeth: [2], lasts_ms: 20, shows: high, to_turn: 1"
    gone, new = gone_and_new(words)
    assert gone == [(22_500, "crank", 0), (30_000, "crank", 1)]
    assert new == []


def test_a_loose_contact_opens_once_in_every_slot():
    signal = faulty("kind: loose, track: cam, breaks_per_s: 10, lasts_ms: 1, shows: high",
                    motion=turns(50))  # fmt: skip
    opens = [t for t, level in signal.on("cam") if level and (t + 1000, 0) in signal.on("cam")]
    slots = [tick // 100_000 for tick in opens]
    assert len(set(slots)) == len(slots) > 10


def test_swapped_polarity_turns_every_edge_over():
    signal = faulty("kind: polarity, track: crank")
    assert signal.header.initial == (1, 0)
    assert signal.on("crank") == [(t, 1 - v) for t, v in sound(motion=turns(3)).on("crank")]
    assert {change[0] for change in signal.changes} == {"turned"}


def test_polarity_swapped_for_a_turn_has_edges_only_where_levels_differ():
    gone, new = gone_and_new("kind: polarity, track: crank, from_turn: 1, to_turn: 2")
    assert (60_000, "crank", 1) in gone and (120_000, "crank", 1) in gone
    assert [row[0] for row in new] == list(range(67_500, 120_000, 7_500))


def test_reversed_leads_of_a_vr_sensor_time_by_the_spaces():
    vr = {"crank": Sensor("vr")}
    sound_falls = [t for t, v in Signal(sensors=vr).on("crank") if not v]
    falls = [t for t, v in faulty("kind: leads_reversed, track: crank", sensors=vr).on("crank")
             if not v]  # fmt: skip
    assert sound_falls[:3] == [3750, 18_750, 33_750]
    assert falls[:3] == [11_250, 26_250, 41_250]


def test_swapped_tracks_are_each_the_other():
    signal = faulty("kind: swapped, track: crank, other: cam")
    assert signal.on("crank") == CAM
    assert signal.on("cam") == sound(motion=turns(3)).on("crank")


def test_noise_by_time_comes_once_in_every_slot_on_all_its_tracks():
    signal = faulty(
        "kind: noise, tracks: [crank, cam], width_us: 5, bursts_per_s: 100, pulses: 2, gap_us: 7"
    )
    on_cam = [tick for kind, tick, _ in signal.changes if (tick, "cam") in
              {(t, n) for t, n, _ in signal.rows}]  # fmt: skip
    starts = sorted(set(on_cam))[::4]
    assert [tick // 10_000 for tick in starts] == list(range(18))
    for tick in starts:
        at = [t - tick for t, name, _ in signal.rows if name == "cam" and 0 <= t - tick < 20]
        assert at == [0, 5, 12, 17]


def test_noise_of_the_ignition_follows_the_crank_even_on_a_ramp():
    """The tooth edge at 90 degrees and the ignition 10 degrees before 100 are one place."""
    motion = Motion([ramp(Fraction(200), Fraction(2000), turns=Fraction(4))])
    signal = faulty(
        "kind: noise, tracks: [cam], width_us: 5, ignition_deg: 10, delay_us: 40", motion=motion
    )
    added = [tick for kind, tick, _ in signal.changes][::2]
    edges = [tick for tick, level in sound(motion=motion).on("crank") if level][1::2]
    starts = sorted({tick for _, tick, _ in signal.changes})[::2]
    assert added and starts == [tick + 40 for tick in edges]


def test_noise_that_overlaps_an_edge_is_left_out_on_that_track_only():
    """40 us before the tooth's edge at 90 degrees, for 50 us."""
    signal = faulty("kind: noise, tracks: [crank, cam], width_us: 50, ignition_deg: 10.24")
    assert signal.on("crank") == sound(motion=turns(3)).on("crank")
    assert (14_960, 0) in signal.on("cam") and (15_010, 1) in signal.on("cam")


def test_every_third_ignition():
    signal = faulty("kind: noise, tracks: [cam], width_us: 5, ignition_deg: 10, every: 3")
    assert sorted(tick for _, tick, _ in signal.changes) == [75_000, 75_005, 165_000, 165_005]


def test_a_wandering_cam_is_late_by_up_to_its_range():
    signal = faulty("kind: wandering, track: cam, range_deg: 6, period_s: 0.1", motion=turns(40))
    late = [b - a for (a, _), (b, _) in
            zip(sound(motion=turns(40)).on("cam"), signal.on("cam"), strict=False)]  # fmt: skip
    assert all(0 <= ticks <= 1001 for ticks in late)
    assert max(late) > 900 and min(late) < 100


def test_metal_faults_move_metal():
    bent = gone_and_new(
        "kind: bent_tooth, track: crank, teeth: [4], by_deg: -1.5, ", motion=turns(1)
    )
    assert bent[1] == [(44_750, "crank", 1), (52_250, "crank", 0)]
    worn = gone_and_new(
        "kind: worn_teeth, track: crank, teeth: [2], leading_deg: 3, trailing_deg: 1.5",
        motion=turns(1),
    )
    assert worn[1] == [(15_500, "crank", 1), (22_250, "crank", 0)]
    shifted = faulty("kind: shifted, track: cam, by_deg: -30", motion=turns(3))
    assert shifted.header.initial == (0, 1)
    assert shifted.on("cam") == [(26_667, 0), (116_667, 1), (146_667, 0)]


def test_an_eccentric_wheel_as_plane_trigonometry_has_it():
    """A wheel 3 % off its axis towards 0: the edge at 90 is seen at atan2(1, 0.03) degrees."""
    edges = dict(faulty("kind: eccentric, track: crank, offset_percent: 3", motion=turns(1))
                 .on("crank"))  # fmt: skip
    seen_deg = 88.28164183  # atan2(1, 0.03)
    assert min(edges, key=lambda t: abs(t - 15_000)) == round(seen_deg * 500 / 3)
    assert 0 in edges and 30_000 in edges


def test_metal_that_would_touch_is_refused():
    with pytest.raises(UsageError, match="tooth 2 of track 'crank' touches the next one at 180"):
        faulty("kind: bent_tooth, track: crank, teeth: [2], by_deg: 45")
    with pytest.raises(UsageError, match="tooth 1 of track 'crank' vanishes"):
        faulty("kind: worn_teeth, track: crank, leading_deg: 30, trailing_deg: 15")


def test_a_false_start_stops_behind_its_last_tooth_and_loses_no_edge():
    """Two teeth at 300 rpm: 157.5 degrees, then a second of rest, then the rest of the turns."""
    signal = faulty("kind: false_start, track: crank, teeth: 2, rpm: 300, pause_s: 1",
                    motion=turns(2))  # fmt: skip
    kick = [(0, 1), (25_000, 0), (50_000, 1), (75_000, 0)]
    rest = signal.on("crank")[4:]
    assert signal.on("crank")[:4] == kick
    assert rest[0] == (87_500 + 1_000_000 + 3_750, 1)
    assert signal.plan.motion.end_s == Fraction(12075, 10000)


def test_flips_give_the_opposite_level():
    gone, new = gone_and_new("kind: flips, flips: [[crank, 15000, 22500], [cam, -1, 2000]]")
    assert gone == [(1667, "cam", 1), (15_000, "crank", 1), (22_500, "crank", 0)]
    assert new == [(1667, "cam", 0), (2000, "cam", 1)]


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


def test_a_wheel_of_one_track_needs_no_cam():
    text = FOUR.replace("  cam: {shaft: cam, teeth: [[5, 95]]}\n", "")
    signal = Signal("{a: {kind: dropped_tooth, track: crank, teeth: [1]}}", wheel_of(text))
    assert [tick for tick, _ in signal.on("crank")][:2] == [15_000, 22_500]

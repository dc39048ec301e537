"""The parts of the timing: events from edges, their TDCs, missed and doubled, the fit itself."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewheel import yamlfile
from edgewheel.bench.outputs import read_outputs
from edgewheel.bench.signals import OutputLine
from edgewheel.bench.timing.crank import crank_at
from edgewheel.bench.timing.edge import EdgeShift
from edgewheel.bench.timing.measure import Commanded, measure
from edgewheel.bench.timing.pulses import line_events, polarity_is_turned
from edgewheel.bench.timing.remarks import remarks
from edgewheel.bench.timing.rows import live_spans, rows_of
from edgewheel.bench.timing.separate import Sample, separate
from edgewheel.bench.timing.wiring import misfits
from edgewheel.bench.truth import Truth
from edgewheel.errors import FileError
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold, ramp
from edgewheel.wheel.library import find

WHEEL = find("60-minus-2-half-moon-cam")
RPM = 1000
CYCLE_S = 0.12
COIL = OutputLine("ignition", (1,))
STEADY = Motion([hold(Fraction(RPM), seconds=Fraction(10))])
TEN = Commanded(np.empty(0), np.empty(0), 10.0, "")


def edges(*spans):
    """Edges of a line that is high in these spans of seconds."""
    flat = np.array(spans, np.float64).reshape(-1)
    return flat, np.tile([1, 0], len(spans))


def sparks(*cycles, error_deg=0.0, dwell_s=0.003):
    """One dwell for each cycle, its spark 10 degrees before TDC of cylinder 1, or off by that."""
    at = [(720 * cycle + 84 - 10 - error_deg) / (6 * RPM) for cycle in cycles]
    return edges(*[(s - dwell_s, s) for s in at])


def measured(pulses, line=COIL, commanded=TEN, motion=STEADY):
    return measure("coil_1", line, pulses, motion, WHEEL, commanded)


def row(pulses, **words):
    (one,) = rows_of(1, measured(pulses, **words), STEADY, [(0.0, 10.0)], 720.0)
    return one


def test_a_dwell_that_is_chopped_is_one_dwell():
    parts = [(1.0 + 60e-6 * k, 1.0 + 60e-6 * k + 30e-6) for k in range(5)]
    events = line_events(COIL, *edges((0.5, 0.503), (0.998, 0.99999), *parts))
    assert events.begin_s.tolist() == [0.5, 0.998]
    assert events.end_s[1] == pytest.approx(1.00027)
    assert events.chops.tolist() == [0, 5]


def test_a_spark_struck_again_is_timed_at_the_first():
    events = line_events(COIL, *edges((0.1, 0.103), (0.1035, 0.104), (0.1045, 0.105), (0.2, 0.203)))
    assert events.end_s.tolist() == [0.103, 0.203]
    assert events.restrikes.tolist() == [2, 0]


def test_injection_pulses_that_follow_soon_are_two():
    line = OutputLine("injection", (1,), "low")
    events = line_events(line, np.array([0.1, 0.102, 0.103, 0.104]), np.array([0, 1, 0, 1]))
    assert events.lasts_s == pytest.approx([0.002, 0.001])


def test_pulses_cut_off_by_the_capture_are_none():
    seconds, levels = np.array([0.1, 0.2, 0.203, 0.3]), np.array([0, 1, 0, 1])
    assert line_events(COIL, seconds, levels).end_s.tolist() == [0.203]
    assert len(line_events(COIL, np.empty(0), np.empty(0, np.int64))) == 0


def test_an_advance_holds_from_its_report_to_the_next():
    reported = Commanded(np.array([1.0, 2.0]), np.array([12.0, 20.0]), 10.0, "")
    known = reported.at(np.array([0.5, 1.0, 1.5, 2.0, 9.0]))
    assert known == pytest.approx([np.nan, 12, 12, 20, 20], nan_ok=True)
    assert TEN.at(np.array([0.5, 9.0])).tolist() == [10, 10]


@pytest.mark.parametrize("error_deg", [0.0, 7.0, -7.0, 350.0, -180.5, 359.9])
def test_angle_and_error_of_a_spark(error_deg):
    one = measured(sparks(*range(2, 9), error_deg=error_deg))
    assert one.error_deg == pytest.approx([error_deg] * 7, abs=1e-6)
    assert one.before_deg == pytest.approx([10 + error_deg] * 7, abs=1e-6)
    assert np.diff(one.slot).tolist() == [1] * 6


def test_errors_about_half_a_cycle_do_not_jump():
    early, late = sparks(3, 4, 8, 10, error_deg=359.9), sparks(1, 5, error_deg=-359.9)
    both = np.concatenate([early[0], late[0]])
    order = np.argsort(both)
    levels = np.concatenate([early[1], late[1]])[order]
    error = measured((both[order], levels)).error_deg
    assert error == pytest.approx([360.1, 359.9, 359.9, 360.1, 359.9, 359.9])


def test_a_row_holds_medians_of_what_came_when_the_speed_had_settled():
    pulses = [sparks(cycle, error_deg=error) for cycle, error in enumerate((0, 0, 6, 10, 6, 10))]
    one = row((np.concatenate([at for at, _ in pulses]), np.tile([1, 0], 6)))
    assert (one.count, one.missed, one.doubled, one.rpm) == (4, 0, 0, 1000)
    figures = (one.before_deg, one.error_deg, one.scatter_deg, one.lasts_ms, one.wheel_deg)
    assert figures == pytest.approx((18, 8, 2, 3, 84 - 18))


def test_missed_and_doubled_sparks_are_counted():
    assert row(sparks(3, 4, 5, 7, 8, 11)).missed == 3
    doubled = np.concatenate([sparks(3)[0], sparks(3)[0] + 0.02, sparks(4)[0]])
    one = row((doubled, np.tile([1, 0], 3)))
    assert (one.missed, one.doubled) == (0, 1)
    pair = OutputLine("ignition", (1, 4))
    one = row(sparks(3, 3.5, 4, 5, 5.5, 7, error_deg=-100), line=pair)
    assert (one.count, one.missed, one.doubled) == (6, 3, 0)


def test_nothing_is_missed_where_sync_was_lost_or_sparks_cut():
    claims = [(0.1, True), (0.55, False), (0.95, True)]
    spans = live_spans(claims, [(1.2, 1.5)], 2.0)
    assert spans == [(0.1, 0.55), (0.95, 1.2), (1.5, 2.0)]
    lost = measured(sparks(2, 3, 8, 9))
    (one,) = rows_of(1, lost, STEADY, spans, 720.0)
    assert (one.count, one.missed) == (4, 0)
    assert live_spans([], [], 2.0) == [(0.0, 2.0)]


def test_against_acceleration_there_is_a_row_of_its_own():
    motion = Motion(
        [
            hold(Fraction(1000), seconds=Fraction(2)),
            ramp(Fraction(1000), Fraction(2000), seconds=Fraction(1)),
        ]
    )
    times = np.arange(0.05, 2.95, 0.01)
    one = measure("coil_1", COIL, edges(*[(t, t + 0.003) for t in times]), motion, WHEEL, TEN)
    rows = rows_of(1, one, motion, [(0.0, 3.0)], 720.0)
    assert [(r.steady, r.rpm_from, r.rpm_to) for r in rows] == [
        (True, 1000, 1000),
        (False, 1000, 2000),
    ]


def test_priming_pulses_and_sparks_through_a_loss_are_told():
    line = OutputLine("injection", (1,), "high")
    primed = measure("inj", line, edges((0.01, 0.015), (0.5, 0.502)), STEADY, WHEEL, TEN)
    coil = measured(sparks(2, 5, 6, 9, error_deg=30))
    false_claim = (0.5, "lost")
    findings = [(0.3, "gained"), (0.5, "lost"), false_claim, (0.8, "gained")]
    assert list(remarks([primed, coil], [(0.3, 2.0)], findings)) == [
        "inj: 1 pulse before there was sync, the first at 0.010 s, 5.00 to 5.00 ms (priming).",
        "Sync lost at 0.500 s: 2 sparks until sync was back at 0.800 s, the worst 30.0 degrees "
        "off.",
    ]


def test_pulses_that_were_taken_together_and_the_speed_of_a_tacho_are_told():
    """Of ten pulses a fiftieth too fast and one pause that is a tenth too short."""
    parts = [(1.0 + 60e-6 * k, 1.0 + 60e-6 * k + 30e-6) for k in range(5)]
    coil = measured(edges(*parts, (2.0, 2.003), (2.0035, 2.004), (2.0045, 2.005)))
    times = np.array([*np.arange(10) * 0.03 / 1.02, 9 * 0.03 / 1.02 + 0.027])
    tacho = OutputLine("tacho", pulses_a_turn=2)
    pulses = edges(*[(t, t + 0.001) for t in times])
    speed = measure("tacho", tacho, pulses, STEADY, WHEEL, TEN)
    assert list(remarks([coil, speed], [(0.0, 10.0)], [])) == [
        "coil_1: 1 pulse is chopped, into up to 5 parts.",
        "coil_1: 1 spark is struck again, up to 2 times.",
        "tacho: 10 periods, its speed at most 11.11% off the true one.",
    ]


def test_polarity_is_told_by_what_keeps_its_time_over_speed():
    rpm = np.repeat([1000.0, 3000.0], 10)
    dwell, share = np.full(20, 0.003), 20 / rpm
    assert polarity_is_turned(rpm, dwell, 120 / rpm - dwell) is False
    assert polarity_is_turned(rpm, 120 / rpm - dwell, dwell) is True
    assert polarity_is_turned(rpm, share, 5 * share) is None
    assert polarity_is_turned(np.full(20, 1000.0), np.full(20, 0.11), dwell) is None


def test_the_vectors_agree_with_the_truth():
    ripple = CompressionRipple(Fraction(1, 4), Fraction(2))
    motion = Motion(
        [
            ramp(Fraction(100), Fraction(300), seconds=Fraction(2)),
            hold(Fraction(300), seconds=Fraction(1), ripple=ripple),
        ],
        Fraction(50),
    )
    truth, seconds = Truth(motion), np.linspace(-0.5, 3.5, 81)
    crank = crank_at(motion, seconds)
    for k, s in enumerate(seconds):
        assert (crank.deg[k] - truth.angle_deg(s) + 360) % 720 == pytest.approx(360, abs=1e-6)
        assert crank.rpm[k] == pytest.approx(truth.rpm(s))
    assert crank.segment[0] == crank.segment[-1] == -1


@given(
    st.floats(-20, 20),
    st.floats(0, 500),
    st.sampled_from([0, 1]),
    st.booleans(),
    st.integers(0, 99),
)
def test_the_fit_finds_what_made_the_samples_within_its_uncertainty(
    reference_deg, delay_us, share, turned, seed
):
    dice = np.random.default_rng(seed)
    samples = []
    for width in (3.0, 2.0):
        for rpm in (800, 2000, 5000):
            for line in "abcd":
                error = reference_deg - 6 * rpm * delay_us * 1e-6 - share * width
                error += 360 if turned and error < 0 else -360 if turned else 0
                error += dice.normal(0, 0.005)
                samples.append(Sample(line, rpm, error, 0.005, width, True))
    found = separate(samples)
    assert found.turn == ("wrong" if turned else "right")
    assert found.edge == ("wrong" if share else "right")
    assert found.reference_deg.value == pytest.approx(reference_deg, abs=0.02)
    assert found.delay_us.value == pytest.approx(delay_us, abs=1.0)
    assert 0.001 < found.reference_deg.uncertainty < 0.02
    assert 0.1 < found.delay_us.uncertainty < 0.5
    assert found.delay_us.value == pytest.approx(delay_us, abs=2 * found.delay_us.uncertainty)


def test_errors_off_a_line_by_more_than_they_scatter_are_no_angle_and_no_delay():
    bend = ((1000, 0.0), (2000, 0.25), (4000, 0.0))
    sharp, blurred = (
        separate([Sample("a", rpm, error, sigma, 3.0, True) for rpm, error in bend])
        for sigma in (0.005, 0.1)
    )
    assert (sharp.reference_deg, sharp.delay_us) == (None, None)
    assert "lie up to 0.16 degrees off any straight line" in sharp.needs[-1]
    assert blurred.reference_deg is not None


def test_widths_that_change_with_the_speed_tell_nothing_of_the_edge():
    samples = [Sample("a", rpm, 1.0, 0.01, rpm / 1000, True) for rpm in (1000, 2000, 4000)]
    found = separate(samples)
    assert found.edge == "unknown"
    assert any("changed together" in need for need in found.needs)


def test_coils_that_disagree_about_the_turn_are_told():
    samples = [
        Sample(line, rpm, error, 0.01, 3.0, True)
        for line, error in (("a", 0.0), ("b", 360.0))
        for rpm in (1000, 3000)
    ]
    assert "check the wiring" in " ".join(separate(samples).needs)


def test_what_most_coils_share_is_no_wiring():
    tdc = {1: 84.0, 3: 264.0, 4: 444.0, 2: 624.0}
    shared = {f"coil_{n}": (n, 353.0) for n in tdc}
    assert misfits(shared, tdc) == ()
    assert misfits(shared | {"coil_2": (2, 173.0)}, tdc)[0].fires_for == 1


@pytest.mark.parametrize(
    ("wheel", "meant", "expected"),
    [
        ("60-minus-2-half-moon-cam", None, [3, 3, 3]),
        ("60-minus-2-half-moon-cam", "fall", [-3, -3, -3]),
        ("60-minus-2-direction", None, [0, 0, 0]),
        ("4-uneven-windows-cam", None, [80, 110, 80]),
    ],
)
def test_the_way_to_the_other_edge_of_the_last_tooth(wheel, meant, expected):
    shift = EdgeShift(find(wheel), meant)
    assert {shift.meant, shift.other} == {"rise", "fall"}
    assert [shift.at(deg) for deg in (10.0, 100.0, 1290.0)] == expected


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("{a: {ignition: 9}}", "no TDC of cylinder 9"),
        ("{a: {ignition: [1, 1]}}", "stands twice"),
        ("{a: {ignition: 1, injection: 1}}", "2 kinds"),
        ("{a: {}}", "0 kinds"),
        ("{a: {ignition: 1, dwell: high, spark: rise}}", "cannot spark at a rise"),
        ("{a: {tacho: 0}}", "too small"),
        ("{a: {injection: 1, dwell: low}}", "'dwell' is not known here"),
    ],
)
def test_outputs_that_cannot_be_are_refused(text, problem):
    with pytest.raises(FileError, match=problem):
        read_outputs(yamlfile.parse(text, "bench.yaml"), WHEEL)


def test_outputs_as_declared():
    text = "{a: {ignition: [1, 4], spark: rise}, b: {injection: 2, end_deg: 360}, c: {tacho: 1/2}}"
    assert read_outputs(yamlfile.parse(text, "bench.yaml"), WHEEL) == {
        "a": OutputLine("ignition", (1, 4), "low"),
        "b": OutputLine("injection", (2,), "low", 360.0),
        "c": OutputLine("tacho", pulses_a_turn=0.5),
    }

"""The sweep finds limits that follow from the controller's mechanisms, where arithmetic says."""

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest

from edgewheel.bench.events import Cause, Finished, SyncGained, SyncLost
from edgewheel.bench.loader import read_plan
from edgewheel.bench.plan import Staircase
from edgewheel.errors import UsageError
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.search.staircase import speeds, staircase_motion
from edgewheel.search.sweep import PointResult, Sweep, SweepListener, SweepResult, summarise
from edgewheel.yamlfile import parse

DISC = """
format: 1
name: Disc
wheel: 360-slit-disc-unequal-windows
controller:
  kind: sim
  settings:
    crank: {{line: angle, edge: falling}}
    cam: {{line: window, edge: both}}
    wheel:
      kind: slotted_disc
      slits: 360
      windows_slits: [[0, 24], [60, 68], [120, 132], [180, 196], [240, 260], [300, 304]]
    interrupts: {{crank_cost_us: {cost}, cam_cost_us: 2, waiting_edges: 2, overrun: lose_sync}}
    engine:
      firing_order: [1, 5, 3, 6, 2, 4]
      firing_deg: [0, 120, 240, 360, 480, 600]
      tdc_after_reference_deg: 19
limits: {{sync_within_s: 1}}
sweep: {{from: {low}, to: {high}, step: {step}, rate: 5000, settle: 0.05, hold: 0.1}}
"""

SIXTY = """
format: 1
name: Sixty
wheel: 60-minus-2-half-moon-cam
controller:
  kind: sim
  settings:
    crank: {{line: crank, filter_us: {filter}, blanking_percent: {blanking}}}
    cam: {{line: cam}}
    wheel: {{kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}}
    phase: {{by: level, level: high}}
    engine: {{tdc_after_reference_deg: 84}}
faults:
  worn: {{kind: bounce, track: crank, after: rise, delay_us: {delay}, width_us: 4, off: {sound}}}
limits: {{sync_within_s: 1}}
sweep: {{from: {low}, to: {high}, step: {step}, rate: 5000, settle: 0.05, hold: 0.1}}
"""


def swept(text: str, folder: Path) -> SweepResult:
    sweep = Sweep(read_plan(parse(text, "bench.yaml"), folder / "bench.yaml"), folder)
    (folder / "bench.yaml").write_text(text)
    for _ in sweep.items():
        pass
    return sweep.result


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "bench.yaml").write_text("format: 1\n")
    return tmp_path


def around(limit: float, step: int) -> dict[str, int]:
    middle = round(limit / step) * step
    return {"low": middle - 4 * step, "high": middle + 4 * step, "step": step}


@pytest.mark.parametrize("cost", [60, 45, 30])
def test_a_slow_interrupt_limits_a_disc_where_the_queue_says(folder, cost):
    """Even edges overflow any finite queue when they come faster than they are served: D/D/1/K."""
    limit = 60e6 / 180 / cost
    step = 200
    result = swept(DISC.format(cost=cost, **around(limit, step)), folder)
    assert abs(float(result.dropped_rpm) - limit) <= step
    assert abs(result.loss.rpm - limit) <= step
    assert "queue" in result.loss.reason


def test_the_filter_limits_sixty_minus_two_where_a_tooth_gets_shorter_than_it(folder):
    limit = 3 / 6 / 100e-6  # a tooth of 3 degrees lasts 100 us
    text = SIXTY.format(filter=100, blanking=0, delay=50, sound="true", **around(limit, 100))
    result = swept(text, folder)
    assert abs(result.loss.rpm - limit) <= 100
    assert result.back_rpm is not None


def test_blanking_hides_a_bounce_up_to_the_speed_at_which_it_is_as_short(folder):
    limit = 0.2 * 6 / 6 / 44e-6  # 20 % of a pitch of 6 degrees lasts until the bounce ends
    text = SIXTY.format(filter=0, blanking=20, delay=40, sound="false", **around(limit, 100))
    result = swept(text, folder)
    assert abs(result.loss.rpm - limit) <= 100


def test_a_sound_signal_within_the_limits_never_drops(folder):
    text = SIXTY.format(filter=5, blanking=20, delay=40, sound="true", **around(5000, 200))
    result = swept(text, folder)
    assert result.passed
    assert (result.highest_rpm, result.dropped_rpm, result.loss) == (5800, None, None)


@pytest.mark.parametrize(
    ("number", "highest_rpm", "words"),
    [
        (1, 1000, "dropped on the way to 1500 rpm, at 1010 rpm: it reports no sync."),
        (2, 1500, "up to 1500 rpm, but not on the way down to 1000 rpm, at 1010 rpm: it reports"),
    ],
)
def test_sync_that_was_lost_on_the_way_to_a_point_and_back_at_it_is_no_pass(
    number, highest_rpm, words
):
    stairs = Staircase(Fraction(1000), Fraction(1500), Fraction(500))
    points = staircase_motion(stairs, Fraction(1))[1]
    on_the_ramp = float(points[number].begin_s) + 0.001
    listener = SweepListener(points, 0.0)
    told = [
        SyncGained(0.5, 900.0),
        SyncLost(on_the_ramp, 1010.0, Cause.SAID, "it reports no sync", ""),
        SyncGained(on_the_ramp + 0.01, 1100.0),
        Finished(float(points[-1].end_s), True, False, ""),
    ]
    results = [result for event in told for result in listener.hear(event)]
    assert [result.synced for result in results] == [True, True, True]
    assert [result.held for result in results] == [place != number for place in range(3)]
    result = summarise(results)
    assert not result.passed and result.highest_rpm == highest_rpm
    assert words in result.sentence


def test_sync_that_drops_again_after_it_was_back_is_told():
    stairs = Staircase(Fraction(1000), Fraction(2000), Fraction(500))
    points = staircase_motion(stairs, Fraction(1))[1]
    told = [True, False, False, True, False]
    results = [PointResult(point, held, None) for point, held in zip(points, told, strict=True)]
    assert summarise(results).sentence.endswith(
        "On the way down it was back at 1500 rpm, and dropped again on the way to 1000 rpm."
    )
    stopped = summarise(results[:3]).sentence
    assert stopped == "sync held up to 1000 rpm and dropped on the way to 1500 rpm."


def test_a_sweep_of_no_point_is_no_pass():
    assert not summarise([]).passed


def test_a_bench_file_without_a_sweep_says_what_to_add(folder):
    text = SIXTY.format(filter=5, blanking=20, delay=40, sound="true", **around(5000, 200))
    with pytest.raises(UsageError, match="Add to the bench file"):
        swept(text[: text.index("sweep:")], folder)


def test_the_staircase_goes_up_and_down_without_a_jump():
    stairs = Staircase(Fraction(1000), Fraction(2100), Fraction(500))
    assert speeds(stairs) == [1000, 1500, 2000, 2100]
    motion, points = staircase_motion(stairs, Fraction(1))
    assert [point.way for point in points] == ["up"] * 4 + ["down"] * 3
    assert [point.rpm for point in points] == [1000, 1500, 2000, 2100, 2000, 1500, 1000]
    rippled = replace(stairs, ripple=CompressionRipple(Fraction(1, 5), Fraction(2)))
    assert staircase_motion(rippled, Fraction(1))[0][3].segment.ripple == rippled.ripple
    for number in range(1, len(motion)):
        assert motion[number].segment.rpm_begin == motion[number - 1].segment.rpm_end
    for point, following in pairwise(points):
        assert point.end_s == following.begin_s
        assert motion.at(point.settled_s).rpm == point.rpm

"""A capture's run shrunk: to what differs from the sound wheel behind it, not to what scatters."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from captures import FAN_7, capture_of, table
from edgewheel.bench.failure import Failure
from edgewheel.bench.loader import load_plan
from edgewheel.bench.replay import replayed
from edgewheel.bench.runner import Runner
from edgewheel.bench.verdict import Outcome
from edgewheel.edges.captures.capture import Capture
from edgewheel.edges.table import EdgeChunk, EdgeHeader
from edgewheel.errors import UsageError
from edgewheel.search.behind import behind_capture
from edgewheel.search.causefile import cause_text
from edgewheel.search.shrink import Shrink

WHEEL = "60-minus-2-half-moon-cam"
PULSE_US = 50


def spoilt(motion: str, jitter: float, late: float = 0, pulse: bool = False) -> Capture:
    """A capture whose every edge is off by `jitter` (standard deviation) and of which one tooth in
    the middle is `late`, both in pitches, with a pulse more not far before.
    """
    header, edges = table(WHEEL, motion)
    random = np.random.default_rng(1)
    rises = np.flatnonzero((edges.track == 0) & (edges.level == 1))
    middle = len(rises) // 2
    pitch = float(np.diff(edges.ticks[rises[middle - 5 : middle + 5]]).min())
    ticks = edges.ticks + random.normal(0, jitter * pitch, len(edges))
    ticks[rises[middle + 20]] += late * pitch
    track, level = edges.track, edges.level
    if pulse:
        begin = edges.ticks[rises[middle]] + 0.7 * pitch
        ticks = np.append(ticks, [begin, begin + PULSE_US])
        track = np.append(track, [0, 0]).astype(np.uint8)
        level = np.append(level, [1, 0]).astype(np.uint8)
    whole = np.maximum(np.round(ticks), 0).astype(np.int64)
    order = np.argsort(whole, kind="stable")
    return capture_of(header, EdgeChunk(whole[order], track[order], level[order]), "fan-7.csv")


def plan_of(folder: Path, capture: Capture, bench: str = FAN_7):
    (folder / "bench.yaml").write_text(bench)
    return replayed(load_plan(folder / "bench.yaml"), capture)


def run(plan, folder: Path, outcome: Outcome = Outcome.FAILED) -> Path:
    runner = Runner(plan, folder / "runs")
    for _ in runner.events():
        pass
    assert runner.verdict.outcome == outcome
    return runner.folder


@pytest.mark.parametrize(
    ("motion", "jitter"), [("steady", 0), ("steady", 0.01), ("down", 0.01), ("cranking", 0.005)]
)
def test_only_what_was_planted_is_a_change(motion, jitter, tmp_path):
    """A pulse, and the edge of a tooth that comes 1.8 degrees late, in thousands that scatter."""
    _, flips = behind_capture(plan_of(tmp_path, spoilt(motion, jitter, 0.3, pulse=True)))
    pulse, late = flips
    assert float(pulse.to_us - pulse.from_us) == pytest.approx(PULSE_US, abs=1)
    assert late.from_us > pulse.to_us


@pytest.mark.parametrize("after", range(21, 26))
def test_a_tooth_that_comes_late_once_does_not_bend_the_motion(after, tmp_path):
    """Wherever it stands, also where the motion is taken from: both its edges and no others."""
    capture = spoilt("steady", 0)
    edges = capture.edges
    rises = np.flatnonzero((edges.track == 0) & (edges.level == 1))
    tooth = edges.ticks[rises[len(rises) // 2 + after]]
    late = (edges.track == 0) & (edges.ticks >= tooth) & (edges.ticks <= tooth + 500)
    ticks = edges.ticks + np.where(late, 300, 0)
    moved = EdgeChunk(ticks, edges.track, edges.level)
    _, flips = behind_capture(plan_of(tmp_path, replace(capture, edges=moved)))
    assert [float(flip.to_us - flip.from_us) for flip in flips] == pytest.approx([300, 300], abs=2)


def test_what_scatters_alone_is_no_change(tmp_path):
    assert behind_capture(plan_of(tmp_path, spoilt("steady", 0.01)))[1] == ()


@pytest.mark.parametrize(("late", "changes"), [(0.03, 0), (0.1, 1)])
def test_how_late_a_tooth_must_be_hangs_on_how_all_scatter(late, changes, tmp_path):
    """At 0.6 % of a pitch the rule's 6 standard deviations are 3.6 % and a little more."""
    _, flips = behind_capture(plan_of(tmp_path, spoilt("steady", 0.006, late)))
    assert len(flips) == changes


def test_a_capture_comes_down_to_the_pulse_that_is_the_cause(tmp_path):
    """The late tooth the controller forgives: it is left out, and the file fails alike."""
    capture = spoilt("steady", 0.01, 0.3, pulse=True)
    folder = run(plan_of(tmp_path, capture), tmp_path)
    (tmp_path / "bench.yaml").unlink()
    shrink = Shrink(folder)
    assert all(progress.expected for progress in shrink.items())
    result = shrink.result
    assert result is not None and result.failure is Failure.LOST
    assert len(shrink.flips) == 2
    (flip,) = result.flips
    assert float(flip.to_us - flip.from_us) == pytest.approx(PULSE_US, abs=1)
    assert result.stretch.seconds < 1
    text = cause_text(shrink.plan, result, folder)
    assert len(text.splitlines()) <= 16 and "capture" not in text
    assert "a pulse of 50 us more" in text
    file = folder / "again.yaml"
    file.write_text(text)
    run(load_plan(file), tmp_path)


def test_a_wheel_that_is_not_in_the_capture_is_refused_with_the_way_round(tmp_path):
    """Nothing repeats in a capture of which a third of the teeth is gone, here and there."""
    header, edges = table(WHEEL, "steady")
    gone = np.repeat(np.random.default_rng(2).random(len(edges) // 2) < 0.33, 2)
    teeth = [np.flatnonzero(edges.track == track) for track in (0, 1)]
    kept = np.sort(np.concatenate([teeth[0][~gone[: len(teeth[0])]], teeth[1]]))
    torn = EdgeChunk(edges.ticks[kept], edges.track[kept], edges.level[kept])
    with pytest.raises(UsageError, match=r"is not recognised in it.*edgewheel learn"):
        behind_capture(plan_of(tmp_path, capture_of(header, torn)))


def test_a_cam_that_was_not_captured_is_refused_with_the_way_round(tmp_path):
    header, edges = table(WHEEL, "steady")
    crank = edges[edges.track == 0]
    capture = capture_of(EdgeHeader(header.tick_hz, ("crank",), header.initial[:1]), crank)
    folder = run(plan_of(tmp_path, capture), tmp_path)
    with pytest.raises(UsageError, match=r"it has no cam, .*edgewheel learn"):
        Shrink(folder)


def test_what_does_not_fail_alike_is_refused_with_the_way_round(tmp_path):
    """As if the one change had been missed: it is put behind the end."""
    shrink = Shrink(run(plan_of(tmp_path, spoilt("steady", 0.01, pulse=True)), tmp_path))
    (flip,) = shrink.flips
    hour_us = Fraction(3600 * 10**6)
    shrink.flips = (replace(flip, from_us=flip.from_us + hour_us, to_us=flip.to_us + hour_us),)
    with pytest.raises(UsageError, match=r"not fail alike: no failure instead of it says .*learn"):
        list(shrink.items())

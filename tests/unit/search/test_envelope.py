"""The envelope against full grids of known regions, and against arithmetic on the bench."""

import json
from math import hypot, log, sin
from xml.etree import ElementTree

import pytest

from edgewheel.bench.loader import load_plan
from edgewheel.errors import UsageError
from edgewheel.search.axis import Axis
from edgewheel.search.border import Border
from edgewheel.search.envelope import Envelope
from edgewheel.search.picture import as_svg, as_text
from edgewheel.search.trial import RunUp
from edgewheel.search.trials import Trials

REGIONS = {
    "below a hyperbola": lambda x, y: x * y < 0.22,
    "a disc": lambda x, y: hypot(x - 0.55, y - 0.45) < 0.33,
    "under a wave": lambda x, y: y < 0.5 + 0.2 * sin(7 * x),
    "a half": lambda x, y: x + 0.7 * y < 0.8,
    "a corner": lambda x, y: x < 0.63 and y < 0.41,
    "a half with a hole": lambda x, y: x < 0.7 and hypot(x - 0.3, y - 0.55) > 0.15,
    "two strips": lambda x, y: not 0.3 < y < 0.6,
    "all": lambda x, y: True,
    "nothing": lambda x, y: False,
}


def mapped(inside, depth: int = 6, coarse: int = 2) -> Border:
    border = Border(depth, coarse)
    while points := border.pending():
        for column, row in points:
            border.tell((column, row), inside(column / border.size, row / border.size))
    return border


@pytest.mark.parametrize("name", REGIONS)
def test_within_2_percent_of_a_full_grids_area_at_a_tenth_of_its_trials(name):
    refined, full = mapped(REGIONS[name]), mapped(REGIONS[name], coarse=6)
    assert len(full.known) == 65**2
    assert refined.area() == pytest.approx(full.area(), abs=0.02 * max(full.area(), 0.01))
    assert len(refined.known) <= len(full.known) / 10


@pytest.mark.parametrize("name", REGIONS)
def test_every_guess_away_from_the_border_is_right(name):
    inside, border = REGIONS[name], mapped(REGIONS[name])
    for column in range(0, 65, 3):
        for row in range(0, 65, 3):
            around = {
                inside((column + i) / 64, (row + j) / 64) for i in (-2, 0, 2) for j in (-2, 0, 2)
            }
            if len(around) == 1:
                assert border.guess(column, row) == around.pop()


def test_a_border_is_followed_into_squares_whose_corners_do_not_show_it():
    bay = mapped(lambda x, y: x < 0.45 or (0.6 < y < 0.85 and x < 0.7), depth=6, coarse=1)
    assert bay.area() == pytest.approx(0.45 + 0.25 * 0.25, abs=0.01)
    assert bay.guess(0.65 * 64, 0.72 * 64) == 1


def test_no_point_is_tried_twice_and_rounds_are_shuffled_by_seed():
    def order(seed: int) -> list:
        border, tried = Border(5, 2, seed), []
        while points := border.pending():
            tried += points
            for column, row in points:
                border.tell((column, row), column + row < 40)
        return tried

    first = order(1)
    assert len(first) == len(set(first))
    assert first == order(1) != order(2)
    assert sorted(first) == sorted(order(2))


def test_a_lattice_cannot_begin_finer_than_it_ends():
    with pytest.raises(ValueError, match="depth 3"):
        Border(3, 4)


X, Y = Axis("faults.worn.delay_us", 20, 60), Axis("speed", 2000, 6000)


def test_the_picture_has_80_columns_and_the_high_end_at_the_top():
    lines = as_text(mapped(lambda x, y: y < 0.5 and x < 0.5), X, Y).splitlines()
    assert max(map(len, lines)) <= 80
    top, bottom = lines[1].split("|"), lines[24].split("|")
    assert (top[0].strip(), bottom[0].strip()) == ("6000", "2000")
    assert set(top[1]) == {"."}
    assert bottom[1] == "#" * 32 + "." * 32


def test_the_drawing_shows_every_trial_once():
    border = mapped(lambda x, y: y < 0.5, depth=4)
    drawn = ElementTree.fromstring(as_svg(border, X, Y, "Fan 3 & others"))
    names = [element.tag.rpartition("}")[2] for element in drawn.iter()]
    assert names.count("circle") == sum(border.known.values())
    assert names.count("path") == len(border.known) - sum(border.known.values())
    assert drawn[0].text == "Fan 3 & others"


BENCH = """
format: 1
name: Sixty
wheel: 60-minus-2-half-moon-cam
controller:
  kind: sim
  settings:
    crank: {line: crank, blanking_percent: 20}
    cam: {line: cam}
    wheel: {kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}
    phase: {by: level, level: high}
    engine: {tdc_after_reference_deg: 84}
faults: {worn: {kind: bounce, track: crank, after: rise, delay_us: 30, width_us: 4}}
limits: {sync_within_s: 1}
"""


def trials_of(tmp_path, run_up) -> Trials:
    file = tmp_path / "bench.yaml"
    file.write_text(BENCH)
    return Trials(load_plan(file), file, run_up, {}, tmp_path / "runs")


def test_on_the_bench_the_border_is_where_blanking_ends_before_the_bounce(tmp_path):
    """At n rpm 20 % of a pitch of 6 degrees last 200,000 / n us; the bounce is over 4 us later."""
    with trials_of(tmp_path, RunUp(hold_s=0)) as trials:
        envelope = Envelope(trials, X, Y, depth=4, coarse=2, seed=1)
        for _ in envelope.items():
            pass
    for trial in envelope.as_data()["trials"]:
        exposed = (trial["x"] + 4) * trial["y"] / 200_000
        if abs(exposed - 1) > 0.01:
            assert trial["synced"] is (exposed < 1)
    # Above 200,000 / 6,000 us the border lies inside: the area under it by integration.
    begin, end = 200_000 / 6000 - 4, 60
    under = 4000 * (begin - 20) + 200_000 * log((end + 4) / (begin + 4)) - 2000 * (end - begin)
    assert envelope.border.area() == pytest.approx(under / (40 * 4000), abs=0.02)
    assert len(trials.done) <= 17**2 / 3  # coarser than on a double, where a tenth is asked
    summary = json.loads((trials.folder / "summary.json").read_text())
    assert len(summary["envelope"]["trials"]) == summary["trials"]


def test_two_axes_must_differ(tmp_path):
    with pytest.raises(UsageError, match="different"):
        Envelope(trials_of(tmp_path, RunUp()), Y, Y, 4, 2, 0)

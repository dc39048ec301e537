"""The timing of recorded runs: causes planted in the simulated controller, found again."""

import json
import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from edgewheel.bench.timing.separate import Estimate
from edgewheel.cli.main import main
from edgewheel.search.recorded import Finding
from edgewheel.search.timing import timing_of
from edgewheel.search.timing_page import meaning, page
from planted_timing import play, two_widths

SEVEN = {"tdc": 91}
SLOW = {"delay_us": 150}
EDGE = {"edge": "falling"}
TURN = {"phase": "high"}

LATE = "sparks come 7.00 degrees late at any speed (-7.00 +- 0.01). Correction: add -7.00 to the"
EARLY = "sparks come 7.00 degrees early at any speed (+7.00 +- 0.01). Correction: add +7.00 to the"
LATENCY = (
    "us late, 0.90 degrees for each 1,000 rpm. Correction: set the controller's spark latency "
    "compensation to +150 us; where it has none, add 0.90 degrees of advance for each 1,000 rpm."
)
FALLING = "counts the falling edge of crank. Correction: set it to the rising edge"
OUT = "360 DEGREES OUT: each event comes a whole turn from where it belongs."
CORRECTIONS = {LATE, EARLY, LATENCY, FALLING, OUT}


@pytest.mark.parametrize(
    ("planted", "reference_deg", "delay_us", "edge", "turn", "told"),
    [
        pytest.param({}, 0, 0, "right", "right", set(), id="nothing"),
        pytest.param(SEVEN, -7, 0, "right", "right", {LATE}, id="7 degrees"),
        pytest.param(SLOW, 0, 150, "right", "right", {LATENCY}, id="150 us"),
        pytest.param(EDGE, 0, 0, "wrong", "right", {FALLING}, id="wrong edge"),
        pytest.param(TURN, 0, 0, "right", "wrong", {OUT}, id="360 out"),
        pytest.param(
            SEVEN | SLOW | EDGE | TURN,
            *(-7, 150, "wrong", "wrong", {LATE, LATENCY, FALLING, OUT}),
            id="all together",
        ),
        pytest.param(
            {"tdc": 77} | SLOW | TURN,
            *(7, 150, "right", "wrong", {EARLY, LATENCY, OUT}),
            id="7 the other way",
        ),
    ],
)
def test_what_is_planted_is_found(tmp_path, planted, reference_deg, delay_us, edge, turn, told):
    timing = timing_of(two_widths(tmp_path, **planted))
    text = " ".join(page(timing).split())
    assert {sentence for sentence in CORRECTIONS if sentence in text} == told
    assert text.startswith("Timing of 2 runs against")
    assert ("Turn: right" in text, "Edge: right" in text) == (turn == "right", edge == "right")
    found = timing.ignition
    assert (found.edge, found.turn, found.needs) == (edge, turn, ())
    assert found.reference_deg.value == pytest.approx(reference_deg, abs=0.1)
    assert found.delay_us.value == pytest.approx(delay_us, abs=2)
    assert found.reference_deg.uncertainty < 0.1
    assert 0.008 <= found.delay_us.uncertainty < 2  # a tick of the capture at least


def test_an_advance_that_varies_unknown_to_the_tool_is_refused(tmp_path):
    """The bench file says 10 degrees, the controller follows a table that bends."""
    run = play(
        tmp_path / "run",
        tdc=91,
        ignition="advance_table: [[1000, 10], [3000, 24], [5000, 26]]",
        motion="{hold: 1000, seconds: 0.8}, {hold: 3000, seconds: 0.4}, {hold: 5000, seconds: 0.3}",
    )
    found = timing_of([run]).ignition
    assert (found.reference_deg, found.delay_us) == (None, None)
    assert any(
        "Lock the timing" in need and "off any straight line" in need for need in found.needs
    )


def test_an_advance_that_rises_in_a_straight_line_is_no_delay(tmp_path):
    table = "advance_table: [[0, 10], [6000, 30]]"
    found = timing_of([play(tmp_path / "run", ignition=table)]).ignition
    assert found.delay_us is None
    assert any("which nothing can have" in need for need in found.needs)


def test_an_advance_that_falls_in_a_straight_line_is_said_to_look_like_a_delay(tmp_path):
    """3 degrees from 0 to 5000 rpm are 100 microseconds; only a report of it tells."""
    table = "advance_table: [[0, 10], [5000, 7]]"
    declared = timing_of([play(tmp_path / "declared", ignition=table)])
    assert declared.ignition.delay_us.value == pytest.approx(100, abs=3)
    assert "delay holds only if the timing was locked" in " ".join(meaning(declared))
    reported = timing_of([play(tmp_path / "reported", ignition=table, signals="")])
    assert reported.ignition.delay_us.value == pytest.approx(0, abs=3)
    assert "holds only if" not in " ".join(meaning(reported))


def test_an_advance_that_varies_and_is_reported_is_no_trouble(tmp_path):
    run = play(
        tmp_path / "run",
        tdc=91,
        delay_us=150,
        ignition="advance_table: [[1000, 10], [4000, 26]]",
        signals="",
    )
    found = timing_of([run]).ignition
    assert found.reference_deg.value == pytest.approx(-7, abs=0.1)
    assert found.delay_us.value == pytest.approx(150, abs=2)


def test_an_advance_that_nobody_knows_gives_angles_but_no_errors(tmp_path):
    timing = timing_of([play(tmp_path / "run", signals="advance: not_reported")])
    assert all(row.before_deg == pytest.approx(10, abs=0.01) for row in timing.rows)
    assert timing.ignition.reference_deg is None
    assert "known advance" in timing.ignition.needs[0]


def test_one_speed_does_not_tell_an_angle_from_a_delay(tmp_path):
    run = play(tmp_path / "run", tdc=91, delay_us=150, motion="{hold: 2000, seconds: 0.6}")
    found = timing_of([run]).ignition
    assert (found.reference_deg, found.delay_us) == (None, None)
    assert any("hold at least two" in need for need in found.needs)


def test_one_tooth_width_does_not_tell_the_edge_and_says_so(tmp_path):
    found = timing_of([play(tmp_path / "run", edge="falling")]).ignition
    assert found.edge == "unknown"
    assert found.reference_deg.value == pytest.approx(-3, abs=0.1)
    assert any("another tooth width" in need for need in found.needs)


def test_a_wheel_of_uneven_teeth_tells_the_edge_in_one_run(tmp_path):
    """Teeth 4 degrees wide before the sparks of cylinders 1 and 4, 2 degrees before 3 and 2."""
    teeth = [f"[{6 * k}, {6 * k + (4 if k < 25 else 2)}]" for k in range(58)]
    wheel = (
        "{format: 1, name: Uneven, summary: Two widths, period: 720, tracks: {"
        f"crank: {{shaft: crank, teeth: [{', '.join(teeth)}]}}, "
        "cam: {shaft: cam, teeth: [[20, 200]]}}, tdc: {1: 84, 3: 264, 4: 444, 2: 624}}"
    )
    for name, edge, found_edge in (("a", "rising", "right"), ("b", "falling", "wrong")):
        run = play(tmp_path / name, edge=edge, tdc=91, delay_us=150, tracks=wheel)
        found = timing_of([run]).ignition
        assert found.edge == found_edge
        assert found.reference_deg.value == pytest.approx(-7, abs=0.1)
        assert found.delay_us.value == pytest.approx(150, abs=2)


def test_wasted_spark_alone_cannot_show_360_degrees(tmp_path):
    found = timing_of(two_widths(tmp_path, ignition="coils: pairs", phase="high")).ignition
    assert found.turn == "unknown"
    assert any("Capture one sequential coil" in need for need in found.needs)
    assert found.reference_deg.value == pytest.approx(0, abs=0.1)


def test_injection_is_timed_by_its_end_and_shows_the_turn(tmp_path):
    more = "    injection: {duration_ms: 2, end_before_tdc_deg: 360, output_delay_us: 40}"
    timing = timing_of([play(tmp_path / "run", ignition="coils: pairs", phase="high", more=more)])
    assert timing.ignition.turn == "unknown"
    assert timing.injection.turn == "wrong"
    assert timing.injection.delay_us.value == pytest.approx(40, abs=2)
    widths = [row.lasts_ms for row in timing.rows if row.kind == "injection"]
    assert widths == pytest.approx([2] * len(widths))
    assert sum(row.missed + row.doubled for row in timing.rows) == 0
    text = " ".join(page(timing).split())
    assert OUT in text.partition(" Injection ")[2]
    assert "injection latency compensation to +40 us; where it has none, let it end 0.24" in text


def test_what_puts_sparks_and_injection_off_is_to_be_mended_once(tmp_path):
    """The reference angle moves both; the injection's own angle is what is left without it."""
    more = "    injection: {duration_ms: 2, end_before_tdc_deg: 360}"
    timing = timing_of([play(tmp_path / "run", phase="high", more=more, **SEVEN)])
    text = " ".join(meaning(timing))
    assert LATE in text
    assert text.count("Correction") == 2
    assert "360 DEGREES OUT, as for the sparks; the correction above mends both." in text
    assert "Reference angle: off as for the sparks" in text
    assert "Injection angle: right" in text
    own = replace(timing.injection, reference_deg=Estimate(-4.0, 0.001))
    text = " ".join(meaning(replace(timing, injection=own)))
    assert "injections come 3.00 degrees early" in text
    assert "Correction: subtract +3.00 from the injection's end angle before TDC." in text
    no_sparks = replace(timing.ignition, reference_deg=None)
    text = " ".join(meaning(replace(timing, ignition=no_sparks)))
    assert "injections come 7.00 degrees late" in text
    assert "if sparks are off by as much, correct the reference angle instead" in text


def test_coils_wired_crosswise_are_named(tmp_path):
    swapped = "coil_1: {ignition: 3}, coil_3: {ignition: 1}, coil_4: {ignition: 4}"
    signals = (
        f"advance_deg: 10, advance: not_reported, outputs: {{{swapped}, coil_2: {{ignition: 2}}}}"
    )
    timing = timing_of([play(tmp_path / "run", signals=signals)])
    assert {(m.line, m.declared, m.fires_for) for m in timing.runs[0].misfits} == {
        ("coil_1", 3, 1),
        ("coil_3", 1, 3),
    }
    assert timing.ignition.reference_deg.value == pytest.approx(0, abs=0.1)
    text = " ".join(page(timing).split())
    assert "the engine's is 1-3-4-2, the controller fires 3-1-4-2 (coil_1 fires for" in text


def test_single_cylinders_that_are_off_are_corrected_by_themselves(tmp_path):
    timing = timing_of([play(tmp_path / "run", engine="firing_deg: [0, 150, 360, 510]")])
    text = " ".join(page(timing).split())
    assert "coil_3 fires 30.00 degrees earlier than the others. Correction: add +30.00 to" in text
    assert "coil_2 fires 30.00" in text and "Reference angle: right" in text


def test_coils_that_fire_in_both_turns_are_told_and_still_timed(tmp_path):
    timing = timing_of([play(tmp_path / "run", by="none")])
    text = " ".join(page(timing).split())
    assert "BOTH TURNS: outputs of a single cylinder" in text
    assert "Reference angle: right" in text and "Fixed delay: none to be seen" in text
    assert timing.ignition.reference_deg.uncertainty < 0.1
    assert "Sync lost 3 times more" in text


TWO_STROKE = """\
format: 1
name: Two-stroke
summary: every cylinder fires in each turn
period: 360
tracks: {crank: {shaft: crank, teeth: {pitches: 60, missing: 2}}}
tdc: {1: 84, 3: 174, 4: 264, 2: 354}
"""


def test_where_no_signal_tells_the_turns_apart_a_spark_in_both_is_wasted(tmp_path):
    """No two of its cylinders stand a turn apart, so none shares the other's spark."""
    crank = TWO_STROKE.replace("period: 360", "period: 720")
    run = play(tmp_path / "run", by="none", tracks=crank, engine="firing_deg: [0, 90, 180, 270]")
    timing = timing_of([run])
    text = " ".join(page(timing).split())
    assert "Reference angle: right" in text
    assert "BOTH TURNS" not in text and "360" not in text
    assert {(row.missed, row.doubled) for row in timing.rows} == {(0, 0)}
    assert "lost" not in {one.kind for one in run.findings()}


@pytest.mark.parametrize(
    ("firing_deg", "told"),
    [("[0, 90, 180, 270]", "Reference angle: right"), ("[0, 90, 270, 180]", "engine's is 1-3-4-2")],
)
def test_a_two_stroke_fires_in_each_turn_and_no_turn_of_it_is_wrong(tmp_path, firing_deg, told):
    run = play(tmp_path / "run", by="none", tracks=TWO_STROKE, engine=f"firing_deg: {firing_deg}")
    text = " ".join(page(timing_of([run])).split())
    assert told in text
    assert "BOTH TURNS" not in text and "360 degrees" not in text
    assert ("lost" in {one.kind for one in run.findings()}) == ("Reference" not in told)


class Cut:
    """A recorded run whose sparks from 0.8 to 1.2 s never came, as findings (seconds, kind) say."""

    def __init__(self, run, *findings):
        self.folder, self.tick_hz, self.plan = run.folder, run.tick_hz, run.plan
        self.reports = run.reports
        self._run = run
        self._findings = [Finding(seconds, 2000.0, kind, "", "", "") for seconds, kind in findings]

    def pulses(self):
        there = {}
        for name, (seconds, levels) in self._run.pulses().items():
            kept = (seconds < 0.8) | (seconds > 1.2)
            there[name] = seconds[kept], levels[kept]
        return there

    def findings(self):
        return self._findings


def test_sparks_that_were_cut_are_not_missed(tmp_path):
    run = play(tmp_path / "run", motion="{hold: 2000, seconds: 1.6}")

    def missed(*findings):
        return sum(row.missed for row in timing_of([Cut(run, *findings)]).rows)

    assert missed() in range(4 * 5, 4 * 7)
    assert missed((0.9, "cut"), (1.2, "sparks")) == 0
    assert missed((0.9, "cut"), (1.1, "lost"), (1.21, "gained")) == 0
    assert missed((0.9, "cut")) == 0
    assert missed((1.3, "cut"), (1.4, "sparks")) == missed()


def test_a_dwell_polarity_declared_the_wrong_way_round_is_noticed(tmp_path):
    outputs = ", ".join(f"coil_{n}: {{ignition: {n}, dwell: low}}" for n in (1, 3, 4, 2))
    signals = f"advance_deg: 10, advance: not_reported, outputs: {{{outputs}}}"
    (run,) = timing_of([play(tmp_path / "run", signals=signals)]).runs
    assert any("write 'dwell: high'" in remark for remark in run.remarks)


def drawn(root):
    """The dots and the ends of the dashed line as (rpm, degrees), by the numbers at the axes."""

    def of(looks):
        return [one for one in root.iter() if one.get("class") == looks]

    up = {text.text: float(text.get("y")) - 4 for text in of("small end")}
    across = {text.text: float(text.get("x")) for text in of("small mid")}

    def at(x, y):
        rpm = 1000 * (float(x) - across["0"]) / (across["1000"] - across["0"])
        return round(rpm), round(10 * (float(y) - up["0"]) / (up["0"] - up["-10"]), 2)

    (dashed,) = of("tdc")
    ends = dashed.get("d").removeprefix("M").split("L")
    dots = {at(dot.get("cx"), dot.get("cy")) for dot in of("mark")}
    return dots, [at(*end.split()) for end in ends]


def test_the_command_prints_a_page_of_80_columns_and_draws_it(tmp_path, capsys):
    runs = two_widths(tmp_path, **SEVEN, **SLOW)
    names = [str(run.folder) for run in runs]
    assert main(["timing", *names, "--svg", str(tmp_path / "t.svg")]) == 0
    text = capsys.readouterr().out
    assert max(map(len, text.splitlines())) <= 80
    assert re.search(r"add -7\.\d\d to the angle", " ".join(text.split()))
    assert "latency compensation to +150 us" in " ".join(text.split())
    points, line = drawn(ElementTree.parse(tmp_path / "t.svg").getroot())
    assert points == {(1000, -7.9), (4000, -10.6)}
    assert line == [(0, -7), (5000, -11.5)]
    assert main(["timing", *names, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["ignition"]["reference_deg"]["value"] == pytest.approx(-7, abs=0.1)


def test_a_folder_without_a_run_is_said_to_be_one(tmp_path, capsys):
    assert main(["timing", str(tmp_path)]) == 2
    assert "holds no run" in capsys.readouterr().err

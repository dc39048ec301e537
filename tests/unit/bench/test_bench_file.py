"""Bench files: what they mean, and what wrong ones say of file, line, mistake and remedy."""

from fractions import Fraction
from pathlib import Path

import pytest

from edgewheel.bench.loader import load_plan, read_plan
from edgewheel.bench.plan import Plan, SerialController, SimulatedController
from edgewheel.bench.signals import SparkLine
from edgewheel.errors import FileError
from edgewheel.fault.bounce import Bounce
from edgewheel.yamlfile import parse

CONTROLLER = """\
controller:
  kind: sim
  settings:
    crank: {line: crank}
    cam: {line: cam}
    wheel: {kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2, gap_ratio_high: 4}
    phase: {by: level}
"""
HEAD = "format: 1\nname: Fan\nwheel: 60-minus-2-half-moon-cam\n"
GOOD = HEAD + CONTROLLER


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "bench.yaml").write_text("")
    return tmp_path


def plan(text: str, folder: Path) -> Plan:
    path = folder / "bench.yaml"
    path.write_text(text)
    return read_plan(parse(text, "bench.yaml"), path)


def test_the_least_bench_file_gets_sensible_defaults(folder):
    read = plan(GOOD, folder)
    assert read.board.kind == "sim"
    assert isinstance(read.controller, SimulatedController)
    assert read.signals.synced == ("full",)
    assert read.signals.sparks["coil_1"] == SparkLine((1,), "fall")
    assert read.signal.faults == {}
    assert len(read.signal.motion) == 0
    assert [name for name, _ in read.inputs] == ["bench.yaml", "60-minus-2-half-moon-cam.yaml"]


def test_a_full_bench_file(folder):
    (folder / "controller.yaml").write_text(
        "crank: {line: crank}\nwheel: {kind: tooth_per_cylinder, cylinders: 4}\n"
    )
    (folder / "start.yaml").write_text("segments: [{hold: 250, seconds: 2}]")
    read = plan(
        HEAD
        + """
board: {kind: sim, tick_hz: 16000000}
sensors: {crank: {kind: vr}, cam: {metal: high}}
stage: {crank: {inverts: true, rise_us: 0.4, fall_us: 1/8}}
controller: {kind: sim, settings: controller.yaml}
signals:
  speed: n
  sync: {field: lock, synced: [yes, ok]}
  advance_deg: 12
  sparks: {coil: {cylinders: [1, 4], edge: rise}}
motion: start.yaml
faults: {worn: {kind: bounce, track: crank, delay_us: 40, width_us: 5, count: 2}}
limits: {silence_ms: 900, rev_limit_rpm: 6500}
seed: 7
sweep: {from: 500, to: 900, step: 100, hold: 2}
""",
        folder,
    )
    assert read.output_stage(16_000_000).rise_ticks == (6, 0)
    assert read.output_stage(16_000_000).fall_ticks == (2, 0)
    assert read.signal.levels.initial[1] == 0
    assert read.signals.synced == ("yes", "ok")
    assert read.signals.sparks == {"coil": SparkLine((1, 4), "rise")}
    assert read.signal.faults["worn"] == Bounce("crank", Fraction(5), Fraction(40), count=2)
    assert (read.limits.silence_ms, read.limits.rev_limit_rpm) == (900, 6500)
    assert (read.seed, read.sweep.hold_s) == (7, 2)
    names = [name for name, _ in read.inputs]
    assert names[2:] == ["controller.yaml", "start.yaml"]


def test_a_number_is_changed_by_its_address(folder):
    text = GOOD + "faults: {worn: {kind: bounce, track: crank, delay_us: 40, width_us: 5}}"
    document = plan(text, folder).document.with_value("faults.worn.delay_us", "55")
    assert read_plan(document, folder / "bench.yaml").signal.faults["worn"].delay_us == 55


def test_an_address_that_leads_nowhere_names_the_nearest(folder):
    text = GOOD + "faults: {worn: {kind: bounce, track: crank, delay_us: 40, width_us: 5}}"
    with pytest.raises(FileError, match="delay_us"):
        plan(text, folder).document.with_value("faults.worn.delay", "55")


def test_a_fault_that_is_off_is_not_there(folder):
    text = GOOD + "faults: {worn: {kind: bounce, off: yes, track: crank, delay_us: 4, width_us: 1}}"
    assert plan(text, folder).signal.faults == {}


def test_a_real_controller_and_board(folder):
    read = plan(
        HEAD + "board: /dev/ttyACM0\ncontroller: {kind: serial, port: /dev/ttyUSB0, baud: 9600, "
        "lines: {columns: [t, rpm], separator: ';'}}\n",
        folder,
    )
    assert (read.board.kind, read.board.port) == ("port", "/dev/ttyACM0")
    assert isinstance(read.controller, SerialController)
    assert read.controller.listening.parse_text("1;250") == {"t": 1.0, "rpm": 250.0}


BOUNCE = "kind: bounce, track: crank"
WRONG = [
    ("", 0, "the file is empty"),
    ("- 1\n", 1, "Write keys and values"),
    (GOOD.replace("format: 1", "format: 2"), 1, "Write 'format: 1'"),
    (GOOD.replace("format: 1", "format: one"), 1, "not a number"),
    (GOOD.replace("format: 1\n", ""), 1, "'format' is missing"),
    (GOOD.replace("name: Fan\n", ""), 1, "'name' is missing"),
    (GOOD.replace("name: Fan", "name:"), 2, "Write a text"),
    (HEAD, 1, "'controller' is missing"),
    (GOOD + "format: 1\n", 11, "stands twice"),
    (GOOD + "wheels: x\n", 11, "Write 'wheel'"),
    (GOOD.replace("60-minus-2-half-moon-cam", "./none.yaml"), 0, "no such file"),
    (GOOD + "board: {kind: real}\n", 11, "Write one of: sim"),
    (GOOD + "board: {kind: sim, tick_hz: 5}\n", 11, "at least 1000000"),
    (GOOD + "board: {kind: sim, ticks: 5}\n", 11, "'tick_hz'"),
    (GOOD + "sensors: {crank: {kind: reed}}\n", 11, "hall"),
    (GOOD + "sensors: {crnk: {kind: vr}}\n", 11, "'crank'"),
    (GOOD + "sensors: {crank: {amplitude: {mv_per_rpm: 1, threshold_mv: 1}}}\n", 11, "kind: vr"),
    (GOOD + "stage: {crank: {rise_us: -1}}\n", 11, "at least 0"),
    (GOOD + "stage: {crank: {rise_us: 20000}}\n", 11, "at most 10000"),
    (GOOD + "stage: {crank: {inverts: maybe}}\n", 11, "true or false"),
    (GOOD + "stage: {crank: {rise_ms: 1}}\n", 11, "'rise_us'"),
    (GOOD + "seed: -1\n", 11, "at least 0"),
    (GOOD + "seed: 1.5\n", 11, "whole number"),
    (GOOD + "limits: {silence: 5}\n", 11, "silence_ms"),
    (GOOD + "limits: {silence_ms: 0}\n", 11, "more than 0"),
    (GOOD + "limits: {speed_error_percent: .nan}\n", 11, "not a number"),
    (GOOD + "sweep: {from: 500, to: 400, step: 10}\n", 11, "Sweep upwards"),
    (GOOD + "sweep: {from: 0, to: 400, step: 10}\n", 11, "more than 0"),
    (GOOD + "sweep: {from: 1, to: 90000, step: 1}\n", 11, "10,000 points"),
    (GOOD + "sweep: {from: 1, to: 9}\n", 11, "'step' is missing"),
    (GOOD + "sweep: {from: 1, to: 9, step: 1, dwell: 3}\n", 11, "'dwell' is not known"),
    (GOOD + "motion: {segments: [{hold: -5, seconds: 1}]}\n", 11, "negative"),
    (GOOD + "motion: none.yaml\n", 0, "no such file"),
    (GOOD + "motion: {segments: [{hold: 5}]}\n", 11, "exactly one of"),
    (GOOD + "signals: {sync: full}\n", 11, "Write keys and values"),
    (GOOD + "signals: {sync: {field: s}}\n", 11, "'synced' is missing"),
    (GOOD + "signals: {sparks: {coil: {cylinders: [9]}}}\n", 11, "no TDC of cylinder 9"),
    (GOOD + "signals: {sparks: {coil: {cylinders: 1}}}\n", 11, "Write a list"),
    (GOOD + "signals: {advance_deg: 100}\n", 11, "at most 90"),
    (GOOD + "signals: {rpm: x}\n", 11, "'rpm' is not known"),
    (GOOD + f"faults: {{a: {{{BOUNCE}, width_us: 5}}}}\n", 11, "exactly one of delay_us"),
    (GOOD + f"faults: {{a: {{{BOUNCE}, delay_us: 5}}}}\n", 11, "'width_us' is missing"),
    (GOOD + f"faults: {{a: {{{BOUNCE}, delay_us: 5, width_us: 0}}}}\n", 11, "more than 0"),
    (GOOD + f"faults: {{a: {{{BOUNCE}, delay_us: 5, width_us: 6, count: 2}}}}\n", 11, "overlap"),
    (GOOD + f"faults: {{a: {{{BOUNCE}, delay_us: 9, width_us: 6, edge: up}}}}\n", 11, "'edge'"),
    (GOOD + "faults: {a: {kind: bounce, track: krank, delay_us: 9, width_us: 6}}\n", 11, "'crank'"),
    (GOOD + "faults: {a: {kind: bonce}}\n", 11, "'bounce'"),
    (GOOD + "faults: [a]\n", 11, "Write keys and values"),
    (HEAD + "controller: {kind: real}\n", 4, "sim"),
    (HEAD + "controller: {kind: sim}\n", 4, "'settings' is missing"),
    (HEAD + "controller: {kind: serial}\n", 4, "'port' is missing"),
    (HEAD + "controller: {kind: serial, port: x, baud: 1}\n", 4, "at least 50"),
    (HEAD + "controller: {kind: serial, port: x, lines: {pattern: '('}}\n", 4, "no pattern"),
    (HEAD + "controller: {kind: serial, port: x, lines: {pattern: 'a'}}\n", 4, "Name groups"),
    (GOOD.replace("missing: 2", "missing: 60"), 9, "missing"),
    (GOOD.replace("{line: crank}", "{line: crank, edge: up}"), 7, "rising"),
    (GOOD.replace("{by: level}", "{by: levels}"), 10, "level"),
    (GOOD + "a: &x [1]\nb: *x\n", 11, "aliases"),
    (GOOD + "board: !!python/object:os.system x\n", 11, "tag"),
    (GOOD + "\tboard: sim\n", 11, "not YAML"),
    (GOOD + "board: [sim\n", 12, "not YAML"),
]


@pytest.mark.parametrize(("text", "line", "words"), WRONG)
def test_a_wrong_bench_file_says_where_and_what_would_be_right(text, line, words, folder):
    with pytest.raises(FileError) as caught:
        plan(text, folder)
    assert words in str(caught.value)
    assert caught.value.remedy.endswith(".") or caught.value.remedy
    assert caught.value.place.line == line


def test_an_unknown_library_wheel_names_the_nearest(folder):
    with pytest.raises(FileError, match="60-minus-2") as caught:
        plan(GOOD.replace("half-moon-cam", "half-moon"), folder)
    assert str(caught.value.place) == "bench.yaml:3: wheel"


@pytest.mark.parametrize("data", [b"\xff\xfe\x00", b"\x00" * 100])
def test_a_file_that_is_not_text(folder, data):
    (folder / "bench.yaml").write_bytes(data)
    with pytest.raises(FileError, match="not text"):
        load_plan(folder / "bench.yaml")


def test_a_folder_is_no_file(folder):
    with pytest.raises(FileError, match="cannot be read"):
        load_plan(folder)

"""The command line as a script sees it: stdout is data, stderr is talk, codes mean one thing."""

import json
import os
import re
import shlex
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from edgewheel.cli.main import main

BENCH = """\
format: 1
name: Fan 3
wheel: 60-minus-2-half-moon-cam
controller:
  kind: sim
  settings:
    crank: {line: crank, edge: EDGE}
    cam: {line: cam}
    wheel: {kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}
    phase: {by: level, level: high}
    engine: {tdc_after_reference_deg: 84}
motion: {segments: [{ramp: 900, seconds: 0.5}, {hold: 900, seconds: SECONDS}]}
limits: {sync_within_s: 1}
sweep: {from: 500, to: 1500, step: 500, rate: 5000, settle: 0.05, hold: 0.1}
"""


@pytest.fixture
def bench(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return write_bench(tmp_path)


def write_bench(folder: Path, edge: str = "rising", seconds: str = "1") -> Path:
    path = folder / "bench.yaml"
    path.write_text(BENCH.replace("EDGE", edge).replace("SECONDS", seconds))
    return path


def only_run(folder: Path) -> Path:
    (run,) = (folder / "runs").iterdir()
    return run


def test_compile_prints_exactly_the_table(capsys):
    assert main(["compile", "4-even-cam", "--rpm", "60", "--turns", "2", "--csv", "-"]) == 0
    out, err = capsys.readouterr()
    rows = out.splitlines()
    assert rows[0] == "tick,track,level"
    assert len(rows) == 9
    assert all(re.fullmatch(r"\d+,\w+,[01]", row) for row in rows[1:])
    assert "8 edges in 2 s" in err


def test_compile_writes_files_whole_or_not_at_all(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["compile", "36-minus-1", "--rpm", "250", "--turns", "2", "--vcd", "a.vcd"]) == 0
    assert (tmp_path / "a.vcd").read_text().startswith("$comment")
    assert main(["compile", "36-minus-1", "--rpm", "1", "--turns", "1", "--csv", "no/a.csv"]) == 3
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.vcd"]


@pytest.mark.parametrize(
    "words",
    [
        ["compile", "36-minus-1"],
        ["compile", "36-minus-1", "--rpm", "250"],
        ["compile", "36-minus-1", "--rpm", "250", "--turns", "1", "--motion", "x.yaml"],
        ["compile", "36-minus-1", "--motion", "nowhere.yaml"],
        ["compile", "nowhere", "--rpm", "250", "--turns", "1"],
        ["run", "nowhere.yaml"],
        ["sweep", "nowhere.yaml"],
    ],
)
def test_what_cannot_be_used_ends_with_2_and_one_message(words, capsys):
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("edgewheel: ")
    assert "Traceback" not in err


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["nonsense"],
        ["compile"],
        ["compile", "36-minus-1", "--rpm", "-5", "--turns", "1"],
        ["compile", "36-minus-1", "--rpm", "nan", "--turns", "1"],
        ["compile", "36-minus-1", "--rpm", "0", "--turns", "1"],
        ["compile", "36-minus-1", "--rpm", "250", "--turns", "1", "--tick-hz", "0.5"],
    ],
)
def test_a_wrong_command_line_ends_with_2(words):
    with pytest.raises(SystemExit) as caught:
        main(words)
    assert caught.value.code == 2


def test_run_passes_and_leaves_a_record(bench, capsys):
    assert main(["run", str(bench)]) == 0
    out, _ = capsys.readouterr()
    assert out.startswith("Fan 3: passed.")
    run = only_run(bench.parent)
    assert {path.name for path in run.iterdir()} == {
        "bench.yaml",
        "60-minus-2-half-moon-cam.yaml",
        "controller.log",
        "junit.xml",
        "run.log",
        "run.sqlite",
        "summary.json",
    }
    summary = json.loads((run / "summary.json").read_text())
    assert (summary["kind"], summary["outcome"]) == ("run", "passed")
    log = (run / "run.log").read_text().splitlines()
    assert log[0].endswith(f"$ {summary['repeat']}")
    assert "Record: " in log[-1] and run.name in log[-1]
    with sqlite3.connect(run / "run.sqlite") as database:
        (reports,) = database.execute("SELECT count(*) FROM report").fetchone()
        (pulses,) = database.execute("SELECT count(*) FROM pulse").fetchone()
        meta = dict(database.execute("SELECT key, value FROM meta"))
        states = [row[0] for row in database.execute("SELECT state FROM board")]
    assert reports > 30
    assert meta["tick_hz"] == "125000000"
    assert int(meta["origin"]) > 0
    assert pulses > 50
    assert states[-2:] == ["holding", "idle"]
    assert b"rpm=900.0 sync=full" in (run / "controller.log").read_bytes()


def test_run_fails_with_1_where_the_controller_never_finds_sync(bench, capsys):
    text = bench.read_text().replace("missing: 2", "missing: 1")
    bench.write_text(text.replace("gap_ratio_low: 2.2", "gap_ratio_low: 1.6"))
    bench.write_text(bench.read_text().replace("gap_ratio_high: 4}", "gap_ratio_high: 2.5}"))
    assert main(["run", str(bench), "--json"]) == 1
    data = json.loads(capsys.readouterr().out)
    assert (data["outcome"], data["detail"]) == ("failed", "the controller never found sync")


def test_an_input_that_no_track_drives_is_told(bench, capsys):
    bench.write_text(bench.read_text().replace("line: crank", "line: krank"))
    assert main(["run", str(bench), "--dry-run"]) == 0
    said = capsys.readouterr().err
    assert "no track 'krank'" in said and "controller.settings.crank.line one of: crank" in said


def test_a_bench_without_a_motion_says_what_to_add(bench, capsys):
    bench.write_text(re.sub(r"motion:.*\n", "", bench.read_text()))
    assert main(["run", str(bench)]) == 2
    assert "Add 'motion:" in capsys.readouterr().err


def test_a_dry_run_writes_nothing(bench, capsys):
    assert main(["run", str(bench), "--dry-run", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["seconds"] == 1.5
    assert data["transitions"] > 2000
    assert not (bench.parent / "runs").exists()


def test_sweep_answers_in_words_and_in_json(bench, capsys):
    assert main(["sweep", str(bench)]) == 0
    assert "sync held at every speed up to 1500 rpm" in capsys.readouterr().out
    assert main(["sweep", str(bench), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["highest_rpm"] == 1500
    assert [point["rpm"] for point in data["points"]] == [500, 1000, 1500, 1000, 500]
    with sqlite3.connect(Path(data["folder"]) / "run.sqlite") as database:
        rows = database.execute("SELECT way, rpm, synced FROM point ORDER BY number").fetchall()
    assert rows[0] == ("up", 500.0, 1)
    assert len(rows) == 5


def test_progress_on_no_terminal_is_plain_lines(bench, capsys):
    main(["sweep", str(bench)])
    err = capsys.readouterr().err
    assert "\r" not in err
    assert "\x1b" not in err
    assert "up       500 rpm  sync" in err


def test_a_folder_that_cannot_be_written_ends_with_3(bench, capsys):
    (bench.parent / "runs").write_text("a file, not a folder")
    assert main(["run", str(bench)]) == 3
    assert "cannot be written" in capsys.readouterr().err


def test_a_full_disk_ends_with_3_and_parks(bench, capsys, monkeypatch):
    """The disk takes 20 commits' worth, then no more: the run ends, parked, and says why."""
    from edgewheel.bench import record

    monkeypatch.setattr(record, "COMMIT_NS", 0)
    real, calls = record.Record.commit, []

    def full(self):
        calls.append(1)
        if len(calls) > 20:
            with record.RecordFolder(self.folder).or_refuse():
                raise OSError(28, "No space left on device")
        real(self)

    monkeypatch.setattr(record.Record, "commit", full)
    assert main(["run", str(bench)]) == 3
    assert "No space left" in capsys.readouterr().err
    assert not (only_run(bench.parent) / "summary.json").exists()


@pytest.mark.parametrize("more", [[], ["--json"]])
def test_a_verdict_stands_though_nobody_reads_it(bench, monkeypatch, more):
    bench.write_text(bench.read_text().replace("gap_ratio_low: 2.2", "gap_ratio_low: 3.5"))
    read, write = os.pipe()
    os.close(read)
    with os.fdopen(write, "w", buffering=1) as nobody:
        monkeypatch.setattr(sys, "stdout", nobody)
        assert main(["run", str(bench), *more]) == 1


@pytest.mark.parametrize(
    ("words", "redirected", "code"),
    [
        (["run", "bench.yaml"], "2>/dev/full", 1),
        (["run", "bench.yaml"], "2>&1 | true", 1),
        (["run", "bench.yaml"], ">&- 2>&-", 1),
        (["check", "36-minus-1"], "", 0),
    ],
)
def test_a_verdict_stands_whatever_becomes_of_the_streams(bench, words, redirected, code):
    bench.write_text(bench.read_text().replace("gap_ratio_low: 2.2", "gap_ratio_low: 3.5"))
    command = shlex.join([sys.executable, "-m", "edgewheel", *words])
    few_letters = {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    script = f"({command}; echo $? >code) {redirected}"
    subprocess.run(["sh", "-c", script], env=os.environ | few_letters, check=False)
    assert int((bench.parent / "code").read_text()) == code


def test_a_list_that_a_full_disk_does_not_take_ends_with_3(capsys, monkeypatch):
    with Path("/dev/full").open("w") as full:
        monkeypatch.setattr(sys, "stdout", full)
        assert main(["wheels"]) == 3
    assert "cannot be written: No space left" in capsys.readouterr().err


def test_a_mistake_of_ours_ends_with_5(bench, capsys, monkeypatch):
    from edgewheel.bench import loader

    def broken(_):
        raise ZeroDivisionError

    monkeypatch.setattr(loader, "load_plan", broken)
    assert main(["run", str(bench)]) == 5
    assert "mistake in edgewheel" in capsys.readouterr().err


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_parks_and_leaves_a_finished_record(tmp_path, number):
    process = started(write_bench(tmp_path, seconds="100000"), tmp_path)
    process.send_signal(number)
    out, err = process.communicate(timeout=20)
    assert process.returncode == 130
    assert "aborted" in out
    assert "parking" in err
    summary = json.loads((only_run(tmp_path) / "summary.json").read_text())
    assert summary["outcome"] == "aborted"
    with sqlite3.connect(only_run(tmp_path) / "run.sqlite") as database:
        states = [row[0] for row in database.execute("SELECT state FROM board")]
    assert states[-1] == "idle"


def test_a_second_signal_ends_at_once(tmp_path, monkeypatch):
    process = started(write_bench(tmp_path, seconds="100000"), tmp_path, "hang")
    process.send_signal(signal.SIGINT)
    time.sleep(0.5)
    assert process.poll() is None
    process.send_signal(signal.SIGINT)
    process.communicate(timeout=5)
    assert process.returncode == -signal.SIGINT


def test_what_was_recorded_survives_a_kill(tmp_path):
    process = started(write_bench(tmp_path, seconds="100000"), tmp_path)
    time.sleep(1)
    process.kill()
    process.communicate()
    run = only_run(tmp_path)
    assert not (run / "summary.json").exists()
    with sqlite3.connect(run / "run.sqlite") as database:
        (reports,) = database.execute("SELECT count(*) FROM report").fetchone()
    assert reports > 10


HANG = """
import edgewheel.bench.rig as rig
rig.Rig.abort = lambda self: None
"""


def started(bench: Path, folder: Path, how: str = "") -> subprocess.Popen:
    """`edgewheel run` as a process, once its record has begun to grow."""
    prelude = HANG if how == "hang" else ""
    code = f"{prelude}\nimport sys\nfrom edgewheel.cli.main import main\nsys.exit(main())"
    process = subprocess.Popen(
        [sys.executable, "-c", code, "run", str(bench)],
        cwd=folder,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )
    deadline = time.monotonic() + 20
    while time.monotonic() < deadline:
        if any(log.stat().st_size for log in folder.glob("runs/*/controller.log")):
            return process
        time.sleep(0.05)
    raise AssertionError(process.communicate(timeout=1))

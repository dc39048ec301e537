"""MDF 4 and CSV read back by libraries that did not write them or that are kept for it.

The ASAM standard's text was not at hand: this is MDF 4.10 as asammdf writes and reads it.
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from asammdf import MDF

from edgewheel.cli.main import main
from planted_timing import play


@pytest.fixture(scope="module")
def recorded(tmp_path_factory):
    folder = tmp_path_factory.mktemp("export") / "run"
    return play(folder, signals="", motion="{hold: 1200, seconds: 0.6}")


def test_mdf_is_read_back_by_asammdf(recorded, tmp_path, capsys):
    file = tmp_path / "run.mf4"
    assert main(["export", str(recorded.folder), "-o", str(file)]) == 0
    with MDF(file) as mdf:
        assert mdf.version == "4.10"
        coil = mdf.get("coil_1")
        seconds, levels = recorded.pulses()["coil_1"]
        np.testing.assert_allclose(coil.timestamps, seconds, atol=1e-12)
        np.testing.assert_array_equal(coil.samples, levels)
        rpm, told = mdf.get("rpm"), [f["rpm"] for _, f in recorded.reports()]
        np.testing.assert_allclose(rpm.samples, told)
        assert rpm.unit == mdf.get("crank_speed").unit == "rpm"
        sync = [bytes(word).rstrip(b"\0").decode() for word in mdf.get("sync").samples]
        assert sync == [fields["sync"] for _, fields in recorded.reports()]
        angle = mdf.get("crank_angle")
        assert angle.samples[10] == pytest.approx(angle.timestamps[10] * 7200 % 720)
        names = {Path(block.file_name).name for block in mdf.attachments}
        assert names == {"bench.yaml", "wheel.yaml"}


def test_csv_is_read_back_row_by_row(recorded, tmp_path):
    file = tmp_path / "run.csv"
    assert main(["export", str(recorded.folder), "-o", str(file)]) == 0
    with file.open(newline="") as text:
        rows = list(csv.DictReader(text))
    times = [float(row["seconds"]) for row in rows]
    assert times == sorted(times)
    coil = [(float(r["seconds"]), int(r["value"])) for r in rows if r["name"] == "coil_1"]
    seconds, levels = recorded.pulses()["coil_1"]
    assert [level for _, level in coil] == levels.tolist()
    assert [at for at, _ in coil] == pytest.approx(seconds.tolist(), abs=1e-9)
    assert {row["source"] for row in rows} >= {"crank", "report", "output", "finding"}


def test_a_file_that_cannot_be_written_is_no_mistake_of_ours(recorded, tmp_path, capsys):
    for name in ("run.csv", "run.mf4"):
        (tmp_path / name).mkdir()
        assert main(["export", str(recorded.folder), "-o", str(tmp_path / name)]) == 3
        assert f"{name} cannot be written" in capsys.readouterr().err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["run.csv", "run.mf4"]


def test_a_format_that_is_none_is_refused(recorded, tmp_path, capsys):
    assert main(["export", str(recorded.folder), "-o", str(tmp_path / "run.xls")]) == 2
    assert "neither .csv nor .mf4" in capsys.readouterr().err

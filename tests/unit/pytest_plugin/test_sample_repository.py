"""A controller's firmware repository, tested with what `pip install` leaves and nothing else."""

import os
import shutil
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

ROOT = Path(__file__).parents[3]


@pytest.fixture(scope="module")
def installed(tmp_path_factory) -> Path:
    """The package as pip installs it, in a folder of its own."""
    folder = tmp_path_factory.mktemp("installed")
    pip = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-build-isolation"]
    subprocess.run([*pip, "--target", folder, ROOT], check=True, timeout=120)
    return folder


@pytest.fixture
def repository(tmp_path) -> Path:
    return Path(shutil.copytree(ROOT / "tests" / "sample-repository", tmp_path / "fan"))


def run_pytest(repository: Path, installed: Path, *words: str) -> str:
    environment = os.environ | {"PYTHONPATH": str(installed), "PYTEST_ADDOPTS": ""}
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", *words],
        cwd=repository,
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
    )
    return done.stdout + done.stderr


HEADER = """
import edgewheel

def pytest_report_header():
    return f"from {edgewheel.__file__}"
"""
GONE_WRONG = """
def test_blanking_gone_wrong(bench):
    bench.set("controller.settings", "../settings/wrong.yaml").sweep()
"""


@pytest.mark.slow
def test_the_firmware_that_ships_passes_and_a_setting_gone_wrong_fails(repository, installed):
    (repository / "tests" / "conftest.py").write_text(HEADER)
    (repository / "tests" / "test_wrong.py").write_text(GONE_WRONG)
    shipped = (repository / "settings" / "fan.yaml").read_text()
    wrong = shipped.replace("blanking_percent: 27", "blanking_percent: 5")
    (repository / "settings" / "wrong.yaml").write_text(wrong)
    said = run_pytest(repository, installed, "--junitxml=out.xml")
    assert f"from {installed}" in said
    assert "SUBFAILED[5000 rpm up] tests/test_wrong.py" in said
    suite = ElementTree.parse(repository / "out.xml").find("testsuite")
    failed = {case.get("classname") for case in suite.findall("testcase[failure]")}
    assert failed == {"tests.test_wrong"}
    assert suite.get("errors") == "0" and suite.get("skipped") == "1"
    assert "edgewheel.version" in {one.get("name") for one in suite.find("properties")}

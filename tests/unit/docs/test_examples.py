"""Every YAML example of the documents is read by the code it documents."""

import re
from pathlib import Path

import pytest

from edgewheel.bench.loader import read_plan
from edgewheel.motion.loader import read_motion
from edgewheel.yamlfile import parse

ROOT = Path(__file__).parents[3]
BLOCK = re.compile(r"^```yaml\n(.*?)^```", re.MULTILINE | re.DOTALL)


def examples(page: str) -> list[str]:
    found = BLOCK.findall((ROOT / page).read_text(encoding="utf-8"))
    assert found, page
    return found


@pytest.mark.parametrize("text", examples("host/docs/motion.md"))
def test_motions_are_read(text):
    assert read_motion(parse(text, "motion.md"), Path()).end_s > 0


@pytest.mark.parametrize("text", examples("host/docs/bench.md") + examples("README.md"))
def test_bench_files_are_read(text, tmp_path):
    path = tmp_path / "bench.yaml"
    path.write_text(text, encoding="utf-8")
    assert read_plan(parse(text, "bench.md"), path).signal.motion.end_s > 0

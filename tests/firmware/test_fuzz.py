"""libFuzzer on the core, with AddressSanitizer and UndefinedBehaviorSanitizer: nothing that
comes may break it."""

from __future__ import annotations

import os
import re
import subprocess
from pathlib import Path

import pytest

from firmware.kit import seeds
from firmware.kit.native import NATIVE
from firmware.kit.tables import FIRMWARE

FUZZ = Path(__file__).parent / "fuzz"
SANITIZE = "-fsanitize=fuzzer,address,undefined"
SMALL = ["-DSTREAM_BYTES=4096u", "-DHISTORY_SLOTS=2048u", "-DCAPTURE_SLOTS=16u"]


@pytest.fixture(scope="module")
def fuzzer(tmp_path_factory: pytest.TempPathFactory) -> Path:
    program = tmp_path_factory.mktemp("fuzz") / "fuzz_board"
    sources = [*(FIRMWARE / "core").glob("*.c"), *NATIVE.glob("*.c"), FUZZ / "fuzz_board.c"]
    subprocess.run(
        ["clang", "-std=c11", "-O1", "-g", SANITIZE, "-fno-sanitize-recover=all", *SMALL,
         f"-I{FIRMWARE / 'core'}", f"-I{NATIVE}", "-o", program, *sources],
        check=True,
    )  # fmt: skip
    return program


@pytest.mark.slow
def test_ten_million_parser_steps_find_nothing(fuzzer: Path, tmp_path: Path) -> None:
    """EDGEWHEEL_FUZZ_RUNS=N makes it longer."""
    seeds.write(tmp_path / "seeds")
    (tmp_path / "corpus").mkdir()
    runs = int(os.environ.get("EDGEWHEEL_FUZZ_RUNS", "25000"))
    done = subprocess.run(
        [fuzzer, f"-runs={runs}", "-seed=1", "-max_len=1500", "-len_control=0",
         f"-artifact_prefix={tmp_path}/", tmp_path / "corpus", tmp_path / "seeds"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-3000:]
    steps = re.search(r"parser steps: (\d+)", done.stderr)
    assert steps
    print(f"{int(steps[1]):,} parser steps, no finding")
    assert int(steps[1]) >= 10_000_000

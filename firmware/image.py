"""Seals a firmware image and writes it as UF2; beside it, what lies in flash then, and a
manifest. Standard library only.

    image.py IMAGE.bin IMAGE.uf2 --compiler TEXT

Also imported by the tests, for `source_hash`.
"""

from __future__ import annotations

import argparse
import binascii
import hashlib
import json
import re
import struct
from pathlib import Path

FLASH = 0x10000000
BOOT_BLOCK = 256
UF2_PAYLOAD = 256
UF2_MAGICS = (0x0A324655, 0x9E5D5157, 0x0AB16F30)
UF2_FAMILY_PRESENT = 0x00002000
RP2040_FAMILY = 0xE48BFF56
_REVERSED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))


def boot_crc(data: bytes) -> int:
    """CRC-32/MPEG-2 of the boot block: the common CRC-32 without its reflections and its last
    inversion.

    Source: RP2040 datasheet, section 2.8.1.3.1; the name is the public CRC catalogue's.
    """
    reflected = binascii.crc32(data.translate(_REVERSED)) ^ 0xFFFFFFFF
    return int(f"{reflected:032b}"[::-1], 2)


def seal(image: bytes) -> bytes:
    """The image with the CRC of its boot block in the last four bytes of that block."""
    block = image[: BOOT_BLOCK - 4]
    if any(image[BOOT_BLOCK - 4 : BOOT_BLOCK]):
        raise ValueError("the boot block is too long: its last four bytes must be free")
    return block + struct.pack("<I", boot_crc(block)) + image[BOOT_BLOCK:]


def uf2(image: bytes) -> bytes:
    """The image in UF2 blocks for the RP2040's boot ROM. Source: the UF2 specification."""
    image += bytes(-len(image) % UF2_PAYLOAD)
    count = len(image) // UF2_PAYLOAD
    out = []
    for number in range(count):
        at = number * UF2_PAYLOAD
        head = struct.pack(
            "<8I", *UF2_MAGICS[:2], UF2_FAMILY_PRESENT, FLASH + at, UF2_PAYLOAD, number, count,
            RP2040_FAMILY,
        )  # fmt: skip
        payload = image[at : at + UF2_PAYLOAD].ljust(476, b"\0")
        out.append(head + payload + struct.pack("<I", UF2_MAGICS[2]))
    return b"".join(out)


def sources(firmware: Path) -> list[Path]:
    """Every file that goes into the image, in a fixed order."""
    names = ["core/*.[ch]", "rp2040/*.[chS]", "rp2040/*.ld", "Makefile", "image.py"]
    return sorted(path for name in names for path in firmware.glob(name))


def source_hash(firmware: Path) -> str:
    """SHA-256 over names and contents of all sources."""
    total = hashlib.sha256()
    for path in sources(firmware):
        data = path.read_bytes()
        total.update(f"{path.relative_to(firmware).as_posix()}\n{len(data)}\n".encode())
        total.update(data)
    return total.hexdigest()


def _define(firmware: Path, file: str, name: str) -> str:
    found = re.search(rf'#define {name} "?([^"\n]+?)u?"?\n', (firmware / file).read_text("utf-8"))
    if found is None:
        raise ValueError(f"{file} does not define {name}")
    return found[1]


def manifest(firmware: Path, image: bytes, packed: bytes, compiler: str) -> dict[str, object]:
    """What the image is, and what it was made from."""
    major = _define(firmware, "core/config.h", "PROTOCOL_MAJOR")
    minor = _define(firmware, "core/config.h", "PROTOCOL_MINOR")
    return {
        "board": "rp2040",
        "firmware": _define(firmware, "rp2040/version.h", "FIRMWARE_VERSION"),
        "protocol": f"{major}.{minor}",
        "source_sha256": source_hash(firmware),
        "image_bytes": len(image),
        "image_sha256": hashlib.sha256(image).hexdigest(),
        "uf2_bytes": len(packed),
        "uf2_sha256": hashlib.sha256(packed).hexdigest(),
        "compiler": compiler,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description="Seal a firmware image and write it as UF2.")
    parser.add_argument("image", type=Path, help="the image as the linker made it")
    parser.add_argument("uf2", type=Path, help="the UF2 to write; its manifest goes beside it")
    parser.add_argument(
        "--compiler", required=True, help="the first line of the compiler's --version"
    )
    options = parser.parse_args()
    image = seal(options.image.read_bytes())
    packed = uf2(image)
    options.uf2.write_bytes(packed)
    options.uf2.with_suffix(".flash").write_bytes(image)
    text = json.dumps(manifest(Path(__file__).parent, image, packed, options.compiler), indent=2)
    options.uf2.with_suffix(".json").write_text(text + "\n", "utf-8")


if __name__ == "__main__":
    main()

"""The image is held to its manifest before a board gets it."""

import hashlib
import json
import shutil

import pytest

from edgewheel.board.image import load_image, packaged_image
from edgewheel.errors import FileError


@pytest.fixture
def copy(tmp_path):
    """A copy of the image and its manifest."""
    path = packaged_image()
    for suffix in (".uf2", ".json"):
        shutil.copy(path.with_suffix(suffix), tmp_path)
    return tmp_path / path.name


def spoil(path, change, honest_hash=True):
    """Change the image; with `honest_hash` the manifest agrees with it all the same."""
    data = bytearray(path.read_bytes())
    change(data)
    path.write_bytes(data)
    if honest_hash:
        edit(path, uf2_sha256=hashlib.sha256(data).hexdigest())


def edit(path, **changes):
    manifest = json.loads(path.with_suffix(".json").read_text())
    path.with_suffix(".json").write_text(json.dumps({**manifest, **changes}))


def test_the_image_that_comes_with_edgewheel_is_good():
    image = load_image(packaged_image())
    assert image.data == packaged_image().read_bytes()
    assert (image.protocol, image.chip.board_id) == ("1.2", "RPI-RP2")


def flip(at, bit=1):
    def change(data):
        data[at] ^= bit

    return change


def test_one_bit_is_enough(copy):
    spoil(copy, flip(1000), honest_hash=False)
    with pytest.raises(FileError, match="SHA-256"):
        load_image(copy)


@pytest.mark.parametrize(
    "change",
    [
        flip(512),  # first magic
        flip(512 + 4),  # second magic
        flip(512 + 8),  # not for main flash
        flip(512 + 9, 0x20),  # no family
        flip(512 + 13),  # address
        flip(512 + 16),  # payload size
        flip(512 + 20),  # number
        flip(512 + 24),  # count
        flip(512 + 28),  # family
        flip(1020),  # last magic
    ],
)
def test_a_block_that_the_chip_would_not_take(copy, change):
    spoil(copy, change)
    with pytest.raises(FileError, match="UF2 block 1 "):
        load_image(copy)


def test_blocks_in_another_order_or_too_few(copy):
    whole = copy.read_bytes()

    def swap(data):
        data[:512], data[512:1024] = data[512:1024], data[:512]

    spoil(copy, swap)
    with pytest.raises(FileError, match="UF2 block"):
        load_image(copy)
    copy.write_bytes(whole)
    spoil(copy, lambda data: data.__delitem__(slice(-512, None)))
    with pytest.raises(FileError, match="UF2 block 0"):
        load_image(copy)
    copy.write_bytes(whole)
    spoil(copy, lambda data: data.__delitem__(slice(-100, None)))
    with pytest.raises(FileError, match="no whole UF2 blocks"):
        load_image(copy)


def test_manifests_that_are_no_good(copy):
    edit(copy, board="frost-fan")
    with pytest.raises(FileError, match="for the board frost-fan"):
        load_image(copy)
    copy.with_suffix(".json").write_text("[]")
    with pytest.raises(FileError, match="does not say board, firmware"):
        load_image(copy)
    copy.with_suffix(".json").write_text("{")
    with pytest.raises(FileError, match="no manifest"):
        load_image(copy)
    copy.with_suffix(".json").unlink()
    with pytest.raises(FileError, match=r"edgewheel-rp2040\.json.*cannot be read"):
        load_image(copy)

"""The wire's check sum and stuffing against published values and libraries nobody here wrote."""

import zlib

import cobs.cobs
import crcmod.predefined
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewheel.link.frames import cobs_decode, cobs_encode, encode_frame

crc_32 = crcmod.predefined.mkCrcFun("crc-32")


def test_crc_32_check_value():
    # Williams, A Painless Guide to CRC Error Detection Algorithms, 1993; value from memory.
    assert zlib.crc32(b"123456789") == 0xCBF43926
    assert crc_32(b"123456789") == 0xCBF43926


@given(st.integers(0, 255), st.integers(0, 255), st.binary(max_size=244))
def test_a_frame_opens_with_other_tools(type_, seq, payload):
    # PyPI cobs and crcmod-plus: Cheshire and Baker, IEEE/ACM Trans. Networking 7(2), 1999.
    wire = encode_frame(type_, seq, payload)
    assert wire[-1] == 0
    data = cobs.cobs.decode(wire[:-1])
    assert data[:-4] == bytes((type_, seq)) + payload
    assert crc_32(data[:-4]) == int.from_bytes(data[-4:], "little")


@given(st.binary(max_size=250))
def test_cobs_is_the_published_one(data):
    assert cobs_encode(data) == cobs.cobs.encode(data)


@given(st.binary(min_size=1, max_size=251))
def test_what_is_no_code_is_no_code_to_either(block):
    try:
        expected = cobs.cobs.decode(block)
    except cobs.cobs.DecodeError:
        expected = None
    assert cobs_decode(block) == expected


@pytest.mark.parametrize(
    ("data", "code"),
    [
        # The examples of the Cheshire and Baker encoding as commonly printed; values from memory.
        (b"\x00", b"\x01\x01"),
        (b"\x00\x00", b"\x01\x01\x01"),
        (b"\x11\x22\x00\x33", b"\x03\x11\x22\x02\x33"),
        (b"\x11\x22\x33\x44", b"\x05\x11\x22\x33\x44"),
        (b"\x11\x00\x00\x00", b"\x02\x11\x01\x01\x01"),
    ],
)
def test_cobs_examples(data, code):
    assert cobs_encode(data) == code

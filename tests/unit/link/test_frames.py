"""Frames: they come back whole, however cut; a damaged one changes nothing but a counter."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

import wire_vectors
from edgewheel.link.frames import (
    LARGEST_FRAME,
    Frame,
    FrameDecoder,
    cobs_decode,
    cobs_encode,
    encode_frame,
)
from plain_decoder import plain_frame

payloads = st.binary(max_size=LARGEST_FRAME - 6)
frames = st.builds(Frame, st.integers(0, 255), st.integers(0, 255), payloads)


@given(payloads)
def test_cobs_leaves_no_zero_and_comes_back(data):
    assert 0 not in cobs_encode(data)
    assert cobs_decode(cobs_encode(data)) == data


@given(frames)
def test_a_frame_is_what_the_page_says(frame):
    assert encode_frame(*frame) == plain_frame(*frame)


@given(st.lists(frames, max_size=6), st.integers(1, 50))
def test_frames_come_back_whatever_the_pieces(sent, piece):
    wire = b"\0".join(encode_frame(*frame) for frame in sent)
    decoder = FrameDecoder()
    got = []
    for at in range(0, len(wire), piece):
        got += decoder.feed(wire[at : at + piece])
    assert got == sent
    assert decoder.bad_frames == 0


@given(frames, st.data())
def test_one_changed_byte_loses_one_frame_and_no_more(frame, data):
    wire = bytearray(encode_frame(*frame))
    at = data.draw(st.integers(0, len(wire) - 2))
    wire[at] ^= data.draw(st.integers(1, 255).filter(lambda bits: wire[at] ^ bits != 0))
    decoder = FrameDecoder()
    assert decoder.feed(bytes(wire) + encode_frame(*frame)) == [frame]
    assert decoder.bad_frames == 1


@given(frames, st.data())
def test_a_frame_cut_short_is_counted(frame, data):
    wire = encode_frame(*frame)
    cut = data.draw(st.integers(1, len(wire) - 2))
    decoder = FrameDecoder()
    assert decoder.feed(wire[:cut] + b"\0") == []
    assert decoder.bad_frames == 1


def test_the_largest_frame_comes_whole_a_byte_at_a_time():
    largest = Frame(0x11, 3, b"\x07" * (LARGEST_FRAME - 6))
    decoder = FrameDecoder()
    got = [frame for byte in encode_frame(*largest) for frame in decoder.feed(bytes((byte,)))]
    assert got == [largest]


def test_noise_without_an_end_takes_no_memory_and_counts_once():
    decoder = FrameDecoder()
    for _ in range(1000):
        assert decoder.feed(b"\x55" * 1000) == []
    assert len(decoder._rest) <= LARGEST_FRAME + 2
    assert decoder.feed(b"\0" + encode_frame(2, 0, b"")) == [Frame(2, 0, b"")]
    assert decoder.bad_frames == 1


def test_a_frame_of_251_bytes_cannot_be_sent():
    with pytest.raises(ValueError, match="at most 250 bytes"):
        encode_frame(0x11, 0, bytes(245))


@pytest.mark.parametrize("vector", wire_vectors.vectors()["frames"], ids=lambda v: v["name"])
def test_vectors(vector):
    decoder = FrameDecoder()
    got = decoder.feed(bytes.fromhex(vector["wire"]))
    assert [{"type": f.type, "seq": f.seq, "payload": f.payload.hex()} for f in got] == vector[
        "good"
    ]
    assert decoder.bad_frames == vector["bad"]


def test_the_file_of_vectors_is_the_one_that_the_tests_make():
    assert json.loads(wire_vectors.PATH.read_text()) == json.loads(wire_vectors.text()), (
        "run: python tests/wire_vectors.py"
    )

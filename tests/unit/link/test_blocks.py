"""The block codec: what goes in comes out, whatever it is and in whatever pieces it came."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import wire_vectors
from edgewheel.link.blocks import LOW_32, BlockDecoder, StreamError, StreamLimits
from edgewheel.link.encoder import BlockEncoder
from edgewheel.link.messages import Edges
from plain_decoder import PlainDecoder

LIMITS = StreamLimits(**wire_vectors.LIMITS)
SMALL = StreamLimits(history_depth=64, shortest_hold_ticks=5, first_tick=100)


def encode(ticks, masks, chunk=None, limits=LIMITS, **options):
    encoder = BlockEncoder(limits, **options)
    chunk = chunk or len(ticks) or 1
    frames = []
    for at in range(0, len(ticks), chunk):
        frames += encoder.feed(ticks[at : at + chunk], masks[at : at + chunk])
    return [*frames, *encoder.finish()]


def decode(frames, limits=LIMITS):
    decoder = BlockDecoder(limits)
    parts = [decoder.decode(Edges.unpack(frame.payload(0))) for frame in frames]
    return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])


def assert_comes_back(table, limits=LIMITS, **options):
    frames = encode(*table, limits=limits, **options)
    ticks, masks = decode(frames, limits)
    np.testing.assert_array_equal(ticks, table[0])
    np.testing.assert_array_equal(masks, table[1])
    return frames


@pytest.mark.parametrize("vector", wire_vectors.vectors()["streams"], ids=lambda v: v["name"])
def test_vectors(vector):
    decoder = BlockDecoder(StreamLimits(**vector["limits"]))
    ticks, masks, fault = [], b"", None
    for number, payload in enumerate(vector["payloads"]):
        known = decoder.history.count, decoder.history.tick, decoder.lag
        try:
            more_ticks, more_masks = decoder.decode(Edges.unpack(bytes.fromhex(payload)))
        except StreamError:
            fault = number
            assert (decoder.history.count, decoder.history.tick, decoder.lag) == known
            break
        ticks += more_ticks.tolist()
        masks += more_masks.tobytes()
    assert {"ticks": ticks, "masks": masks.hex()} == vector["expect"]
    assert fault == vector["fault"]


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 2**32 - 1))
def test_random_streams_decode_as_the_page_says(seed):
    for vector in wire_vectors.random_streams(seed, 1):
        test_vectors(vector)


deltas = st.one_of(
    st.integers(5, 40), st.integers(5, 70_000), st.integers(5, LOW_32), st.just(LOW_32), st.just(5)
)


@st.composite
def adversarial(draw):
    """A pattern repeated with changes, pieces dropped and added: what faults do, and worse."""
    pattern = draw(st.lists(st.tuples(deltas, st.integers(0, 255)), min_size=1, max_size=40))
    rows = [(draw(st.integers(100, LOW_32)), 1)]
    for _ in range(draw(st.integers(1, 8))):
        turn = list(pattern)
        for _ in range(draw(st.integers(0, 3))):
            at = draw(st.integers(0, len(turn)))
            turn[at : at + draw(st.integers(0, 2))] = draw(
                st.lists(st.tuples(deltas, st.integers(0, 255)), max_size=3)
            )
        rows += turn
    return np.cumsum([d for d, _ in rows]), np.array([m for _, m in rows], np.uint8)


@settings(deadline=None, max_examples=150)
@given(adversarial(), st.integers(0, 80), st.sampled_from([None, 50, 100_000]))
def test_any_stream_comes_back(table, hint, span):
    for limits in (LIMITS, SMALL):
        assert_comes_back(table, limits, lag_hint=hint, span_ticks=span)


@settings(deadline=None, max_examples=40)
@given(adversarial(), st.integers(1, 70), st.sampled_from([None, 1000]))
def test_frames_do_not_depend_on_the_chunks(table, chunk, span):
    assert encode(*table, chunk, span_ticks=span) == encode(*table, span_ticks=span)


def test_long_streams_do_not_depend_on_the_chunks_either():
    table = wire_vectors.dropped(
        wire_vectors.wheel_table(40, 16_000_000, wire_vectors.steady(3000.7)), 20, 3
    )
    whole = encode(*table, lag_hint=234)
    for chunk in (1, 333, 2048, 5000):
        assert encode(*table, chunk, lag_hint=234) == whole


def wire_bytes(frames):
    return sum(frame.cost for frame in frames)


def test_a_dropped_tooth_costs_little_because_the_lag_is_found_again():
    table = wire_vectors.wheel_table(40, 16_000_000, wire_vectors.steady(3000.7))
    steady = wire_bytes(assert_comes_back(table, lag_hint=234))
    faulty = table
    for cycle in range(5, 35, 3):
        faulty = wire_vectors.dropped(faulty, cycle, 17)
    assert wire_bytes(assert_comes_back(faulty, lag_hint=234)) < steady + 10 * 80


def test_a_cycle_that_nobody_named_is_found():
    table = wire_vectors.wheel_table(40, 16_000_000, wire_vectors.steady(3000.7))
    named = wire_bytes(assert_comes_back(table, lag_hint=234))
    assert wire_bytes(assert_comes_back(table, lag_hint=0)) < 1.2 * named
    assert wire_bytes(assert_comes_back(table, lag_hint=100)) < 1.2 * named


def test_a_cycle_longer_than_the_history_is_sent_all_the_same():
    table = wire_vectors.wheel_table(10, 16_000_000, wire_vectors.steady(3000.7))
    assert_comes_back(table, SMALL, lag_hint=234)


def test_a_frame_ends_where_a_span_of_time_does():
    table = wire_vectors.wheel_table(20, 16_000_000, wire_vectors.steady(3000.7))
    frames = assert_comes_back(table, lag_hint=234, span_ticks=160_000)
    assert all(f.first_tick // 160_000 == f.end_tick // 160_000 for f in frames)


@pytest.mark.parametrize("cut", [300, 2048, 2500])
def test_a_new_course_after_a_splice_decodes_from_where_it_begins(cut):
    old = wire_vectors.wheel_table(20, 16_000_000, wire_vectors.steady(3000.7))
    encoder = BlockEncoder(LIMITS, 234, span_ticks=160_000)
    frames = [*encoder.feed(*old), *encoder.finish()]
    keep = [frame for frame in frames if frame.first + frame.count <= cut]
    count, tick = keep[-1].first + keep[-1].count, keep[-1].end_tick
    new = (np.arange(1, 500) * 7777 + tick, np.arange(1, 500).astype(np.uint8) & 3)
    other = encoder.rewound(count, tick)
    more = [*other.feed(*new), *other.finish()]
    decoder = PlainDecoder(**wire_vectors.LIMITS)
    for frame in frames:
        decoder.edges(frame.payload(0))
    decoder.rewind(count)
    ticks = [t for frame in more for t in decoder.edges(frame.payload(1))[0]]
    assert ticks == new[0].tolist()
    assert decoder.masks[count:] == new[1].tolist()


def test_a_splice_further_back_than_is_remembered_is_an_error():
    encoder = BlockEncoder(LIMITS, 234)
    table = wire_vectors.wheel_table(60, 16_000_000, wire_vectors.steady(3000.7))
    list(encoder.feed(*table))
    with pytest.raises(ValueError, match="outside the history"):
        encoder.rewound(5, int(table[0][4]))


def test_transitions_too_close_are_named():
    with pytest.raises(ValueError, match="transition 1 at tick 203 is 3 ticks after"):
        encode(np.array([200, 203]), np.array([1, 0], np.uint8))
    with pytest.raises(ValueError, match="transition 0 at tick 99"):
        encode(np.array([99]), np.array([1], np.uint8))
    with pytest.raises(ValueError, match="transition 1"):
        encode(np.array([200, 200 + 2**32]), np.array([1, 0], np.uint8))


def test_the_encoder_finds_its_own_mistakes(monkeypatch):
    import edgewheel.link.encoder as module

    honest = module._put_u16
    monkeypatch.setattr(
        module, "_put_u16", lambda data, at, values: honest(data, at, values ^ 0x40)
    )
    with pytest.raises((StreamError, AssertionError)):
        encode(*wire_vectors.wheel_table(3, 16_000_000, wire_vectors.steady(3000.7)))

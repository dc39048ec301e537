"""The vectors that hold both makings of the wire together: tests/firmware/vectors/wire.json.

python tests/wire_vectors.py     writes the file anew; a test fails if it is not what this writes.

Streams are decoded here by tests/plain_decoder.py alone, half-waves told by plain_waves.py.
A stream is a list of frames for a board that has just been armed with epoch 0 and the given
limits; `expect` holds what all good frames say: run ticks, and masks in hex. With `fault`, the
frame of that number is the fault `bad_stream`, and nothing of it reaches the pins.
"""

import json
import random
from pathlib import Path

import numpy as np

import plain_waves
from edgewheel.link.blocks import StreamLimits
from edgewheel.link.encoder import BlockEncoder
from plain_decoder import MisfitError, PlainDecoder, plain_frame

PATH = Path(__file__).parent / "firmware" / "vectors" / "wire.json"
LIMITS = {"history_depth": 1024, "shortest_hold_ticks": 5, "first_tick": 100}


def half_moon_cycle():
    """Angles and masks of one 720 degree cycle of 60-2 with a half-moon cam."""
    events = [
        (rev * 360 + k * 6 + up * 3, 0, 1 - up)
        for rev in (0, 1)
        for k in range(58)
        for up in (0, 1)
    ]
    events += [(41.3, 1, 1), (401.3, 1, 0)]
    mask, masks = 0, []
    for _, track, level in sorted(events):
        mask = mask & ~(1 << track) | level << track
        masks.append(mask)
    return np.array([angle for angle, _, _ in sorted(events)]), np.array(masks, np.uint8)


def wheel_table(cycles, tick_hz, seconds_at, first_tick=1000):
    """Ticks and masks of a number of cycles; `seconds_at` gives the time of an angle."""
    angles, masks = half_moon_cycle()
    at = (np.arange(cycles)[:, None] * 720 + angles).ravel()
    return np.rint(seconds_at(at) * tick_hz).astype(np.int64) + first_tick, np.tile(masks, cycles)


def steady(rpm):
    return lambda angle: angle / (6 * rpm)


def ramp(from_rpm, to_rpm, seconds):
    """Time of an angle on a ramp: the root of angle = 6 (from t + (to - from) t^2 / 2 T)."""
    speed, rate = 6 * from_rpm, 6 * (to_rpm - from_rpm) / seconds
    return lambda angle: (np.sqrt(speed * speed + 2 * rate * angle) - speed) / rate


def dropped(table, cycle, tooth):
    """The table without one tooth of the crank."""
    ticks, masks = table
    ups = np.flatnonzero(np.diff(masks & 1, prepend=0) == 1)
    at = ups[cycle * 116 + tooth]
    return np.delete(ticks, [at, at + 1]), np.delete(masks, [at, at + 1])


def encoded(table):
    encoder = BlockEncoder(StreamLimits(**LIMITS), lag_hint=234)
    frames = [*encoder.feed(*table), *encoder.finish()]
    return [frame.payload(0) for frame in frames]


def random_block(rng, decoder):
    """A block that may or may not fit; small lags and widths are likely, so that many do."""
    predictor = rng.choice((0, 0, 1, 1, 1, 2, 2, 2))
    count = rng.randint(1, 16)
    width = rng.choice((0, 1, 2, 3, 5, 8)) if predictor else rng.choice((7, 8, 11, 16, 17, 31, 32))
    lag = rng.randint(1, max(1, min(len(decoder.deltas), 40)))
    with_masks, with_lag = rng.random() < 0.3, rng.random() < 0.4
    header = predictor | (count - 1) << 2 | width << 6 | with_masks << 12 | with_lag << 13
    bits = sum(rng.getrandbits(width) << i * width for i in range(count) if width)
    if not predictor:
        bits |= sum(1 << i * width + width - 1 for i in range(count))
    data = header.to_bytes(2, "little") + (lag.to_bytes(2, "little") if with_lag else b"")
    data += bits.to_bytes((count * width + 7) // 8, "little")
    return count, data + (rng.randbytes(count) if with_masks else b"")


def random_frame(rng, decoder):
    """A frame of random blocks that fits what came before, unless its blocks do not."""
    before = PlainDecoder(decoder.depth, decoder.shortest, decoder.least_first)
    before.deltas, before.masks, before.lag = decoder.deltas[:], decoder.masks[:], decoder.lag
    count, blocks = 0, b""
    for _ in range(rng.randint(1, 6)):
        more, data = random_block(rng, before)
        if len(blocks + data) > 220:
            break
        try:
            before._block(data)
        except MisfitError:
            if not decoder.deltas or rng.random() < 0.97:
                continue
        count, blocks = count + more, blocks + data
    if not count:
        return None
    return edges(count, len(decoder.deltas), before.tick, blocks)


def edges(count, first, end_tick, blocks, epoch=0):
    head = bytes((epoch,)) + count.to_bytes(2, "little") + (first % 2**32).to_bytes(4, "little")
    return head + (end_tick % 2**32).to_bytes(4, "little") + blocks


def stream(name, payloads, limits=LIMITS):
    """A vector: the payloads and what a plain decoder makes of them."""
    decoder = PlainDecoder(**limits)
    fault, ticks, masks = None, [], []
    for number, payload in enumerate(payloads):
        try:
            more_ticks, more_masks = decoder.edges(payload)
        except MisfitError:
            fault = number
            break
        ticks += more_ticks
        masks += more_masks
    expect = {"ticks": ticks, "masks": bytes(masks).hex()}
    return {
        "name": name,
        "limits": limits,
        "payloads": [payload.hex() for payload in payloads],
        "expect": expect,
        "fault": fault,
    }


def random_streams(seed, how_many):
    for number in range(how_many):
        rng = random.Random(seed * 1000 + number)
        decoder, payloads = PlainDecoder(**LIMITS), []
        for _ in range(12):
            payload = random_frame(rng, decoder)
            if payload is None:
                continue
            payloads.append(payload)
            try:
                decoder.edges(payload)
            except MisfitError:
                break
        yield stream(f"random {number}", payloads)


def block(predictor, count, width, tail=b"", masks=0, lag=0, reserved=0):
    header = predictor | count - 1 << 2 | width << 6 | masks << 12 | lag << 13 | reserved << 14
    return header.to_bytes(2, "little") + tail


LITERAL_2 = block(0, 2, 8, bytes((200, 10, 1, 0)), masks=1)  # ticks 200 and 210


def wrong_streams():
    """Each has one good frame, then one that is wrong in one way."""
    good = edges(2, 0, 210, LITERAL_2)
    lag_1 = (1).to_bytes(2, "little")
    repeat = block(1, 2, 0, lag_1, lag=1)  # ticks 220 and 230
    yield "fits", [good, edges(2, 2, 230, repeat)], None
    yield "first transition before first_tick", [edges(1, 0, 99, block(0, 1, 8, b"\x63\x00", 1))], 0
    yield "wrong index", [good, edges(2, 3, 230, repeat)], 1
    yield "wrong end tick", [good, edges(2, 2, 231, repeat)], 1
    yield "wrong count", [good, edges(3, 2, 230, repeat)], 1
    yield "count 0", [good, edges(0, 2, 210, b"")], 1
    yield "predictor never", [good, edges(2, 2, 230, block(3, 2, 0, lag_1, lag=1))], 1
    yield "width 33", [good, edges(1, 2, 220, block(0, 1, 33, bytes(6), masks=1))], 1
    yield "reserved bit", [good, edges(2, 2, 230, block(1, 2, 0, lag_1, lag=1, reserved=1))], 1
    yield "lag 0", [good, edges(2, 2, 230, block(1, 2, 0))], 1
    yield "lag before the run", [good, edges(1, 2, 220, block(1, 1, 0, b"\3\0", lag=1))], 1
    yield "trend looks one further", [good, edges(1, 2, 220, block(2, 1, 0, b"\2\0", lag=1))], 1
    yield "masks predicted without lag", [good, edges(1, 2, 220, block(0, 1, 8, b"\x0a"))], 1
    yield "shorter than the hold", [good, edges(1, 2, 214, block(0, 1, 8, b"\4\0", masks=1))], 1
    yield "delta below 0", [good, edges(1, 2, 209, block(1, 1, 5, lag_1 + b"\x15", lag=1))], 1
    yield "header cut off", [good, edges(2, 2, 230, repeat + b"\0")], 1
    yield "lag cut off", [good, edges(2, 2, 230, repeat[:3])], 1
    yield "residuals cut off", [good, edges(2, 2, 230, block(1, 2, 8, lag_1 + b"\0", lag=1))], 1
    yield "masks cut off", [good, edges(2, 2, 230, block(1, 2, 0, lag_1 + b"\0", 1, 1))], 1
    far = block(0, 1, 32, b"\xff\xff\xff\xff\1", masks=1)
    yield "longest hold", [good, edges(1, 2, 210 + 2**32 - 1, far)], None
    past = far + block(1, 1, 2, lag_1 + b"\2", lag=1)
    yield "delta of 2^32", [good, edges(2, 2, 210 + 2**33 - 1, past)], 1
    many = edges(
        513,
        2,
        210 + 513 * 10,
        block(1, 16, 0, lag_1, lag=1) + block(1, 16, 0) * 31 + block(1, 1, 0),
    )
    yield "513 transitions", [good, many], 1


def beyond_history():
    """A lag of exactly the history's depth, and of one more."""
    depth = LIMITS["history_depth"]
    frames, known, tick = [edges(2, 0, 210, LITERAL_2)], 2, 210
    for _ in range(3):
        blocks = block(1, 16, 0, (1).to_bytes(2, "little"), lag=1) + block(1, 16, 0) * 31
        tick += 5120
        frames.append(edges(512, known, tick, blocks))
        known += 512
    deepest = block(1, 1, 0, depth.to_bytes(2, "little"), lag=1)
    yield stream("as deep as the history", [*frames, edges(1, known, tick + 10, deepest)])
    deeper = block(1, 1, 0, (depth + 1).to_bytes(2, "little"), lag=1)
    yield stream("deeper than the history", [*frames, edges(1, known, tick + 10, deeper)])
    trend = block(2, 1, 0, depth.to_bytes(2, "little"), lag=1)
    yield stream("trend deeper than the history", [*frames, edges(1, known, tick + 10, trend)])


def streams():
    hz = 16_000_000
    yield stream("60-2 steady", encoded(wheel_table(4, hz, steady(3000.7))))
    yield stream("60-2 ramp", encoded(wheel_table(6, 125_000_000, ramp(1000, 6000, 5))))
    yield stream("60-2 dropped tooth", encoded(dropped(wheel_table(5, hz, steady(850.3)), 2, 17)))
    rng = np.random.default_rng(602)
    jitter = np.cumsum(rng.integers(5, 4000, 900)) + 100
    yield stream("noise", encoded((jitter, rng.integers(0, 256, 900).astype(np.uint8))))
    for name, payloads, fault in wrong_streams():
        vector = stream(name, payloads)
        assert vector["fault"] == fault, name
        yield vector
    yield from beyond_history()
    yield from random_streams(2, 60)


def frames():
    """Bytes on the wire, the good frames in them, and how many bad ones."""
    rng = random.Random(3)
    payloads = [
        b"",
        b"\0",
        bytes(10),
        bytes(range(200)),
        rng.randbytes(244),
        bytes(244),
        b"\1" * 244,
    ]
    for seq, payload in enumerate(payloads):
        wire = plain_frame(0x10 + seq, seq, payload)
        yield {
            "name": f"payload {seq}",
            "wire": wire,
            "good": [(0x10 + seq, seq, payload)],
            "bad": 0,
        }
    one = plain_frame(0x02, 7, b"\1\2\3\4")
    good = (0x02, 7, b"\1\2\3\4")
    flip = bytes((one[0], one[1], one[2] ^ 0x10)) + one[3:]
    yield {
        "name": "zeros before and between",
        "wire": b"\0\0" + one + b"\0" + one,
        "good": [good] * 2,
        "bad": 0,
    }
    yield {"name": "one bit wrong", "wire": flip + one, "good": [good], "bad": 1}
    yield {"name": "cut off at the end", "wire": one[:-3] + b"\0" + one, "good": [good], "bad": 1}
    yield {"name": "cut off at the start", "wire": one[2:] + one, "good": [good], "bad": 1}
    yield {"name": "two run together", "wire": one[:-1] + one + one, "good": [good], "bad": 1}
    yield {"name": "too short", "wire": b"\3\1\1\0" + one, "good": [good], "bad": 1}
    yield {
        "name": "noise without end",
        "wire": b"\x55" * 700 + b"\0" + one,
        "good": [good],
        "bad": 1,
    }
    long = plain_frame(0x11, 1, rng.randbytes(245))
    yield {"name": "one byte too long", "wire": long + one, "good": [good], "bad": 1}


def vectors():
    def plain(frame):
        good = [{"type": t, "seq": s, "payload": p.hex()} for t, s, p in frame["good"]]
        return {**frame, "wire": frame["wire"].hex(), "good": good}

    return {
        "frames": [plain(frame) for frame in frames()],
        "streams": list(streams()),
        "waves": [plain_waves.vector(seed) for seed in range(12)],
    }


def text():
    """The file: one vector a line."""
    parts = [
        f'"{key}": [\n' + ",\n".join(json.dumps(item) for item in items) + "\n]"
        for key, items in vectors().items()
    ]
    return "{\n" + ",\n".join(parts) + "\n}\n"


if __name__ == "__main__":
    PATH.parent.mkdir(parents=True, exist_ok=True)
    PATH.write_text(text())

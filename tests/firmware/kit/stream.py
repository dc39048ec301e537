"""An encoder that knows PROTOCOL.md section 4 and nothing of the project's own: it chooses at
random, so that every
predictor, width and lag is met, not only those a good encoder would choose."""

from __future__ import annotations

import random
import struct
from collections.abc import Iterable, Sequence

LARGEST_BLOCKS = 250 - 6 - 11
MODULUS = 1 << 32

Transition = tuple[int, int]  # delta in ticks, mask


def zigzag(value: int) -> int:
    """A difference modulo 2^32 as an unsigned number, small for small ones of either sign."""
    signed = (value + (MODULUS >> 1)) % MODULUS - (MODULUS >> 1)
    return (signed << 1 ^ signed >> 31) % MODULUS


def block(
    past: Sequence[Transition], items: Sequence[Transition], predictor: int, lag: int,
    old_lag: int, send_masks: bool,
) -> bytes:  # fmt: skip
    """One block that says `items` after `past`."""
    line = [*past, *items]
    begin = len(past)
    residuals = []
    for n in range(begin, len(line)):
        if predictor == 0:
            residuals.append(line[n][0])
        elif predictor == 1:
            residuals.append(zigzag(line[n][0] - line[n - lag][0]))
        else:
            trend = line[n - lag][0] + line[n - 1][0] - line[n - 1 - lag][0]
            residuals.append(zigzag(line[n][0] - trend))
    width = max(r.bit_length() for r in residuals)
    header = (
        predictor | (len(items) - 1) << 2 | width << 6 | send_masks << 12 | (lag != old_lag) << 13
    )
    packed = sum(r << (i * width) for i, r in enumerate(residuals))
    out = struct.pack("<H", header)
    if lag != old_lag:
        out += struct.pack("<H", lag)
    out += packed.to_bytes((len(items) * width + 7) // 8, "little")
    if send_masks:
        out += bytes(mask for _, mask in items)
    return out


def edges(epoch: int, first: int, end_tick: int, count: int, blocks: bytes) -> bytes:
    """The payload of EDGES."""
    return struct.pack("<BHII", epoch, count, first % MODULUS, end_tick % MODULUS) + blocks


class RandomEncoder:
    """Encodes transitions in EDGES payloads of random size, each block in a random way that is
    allowed."""

    def __init__(self, seed: int, depth: int, lags: Iterable[int] = (1, 2, 3, 7, 16, 240)) -> None:
        self.rng = random.Random(seed)
        self.depth = depth
        self.lags = tuple(lags)
        self.past: list[Transition] = []
        self.lag = 0
        self.tick = 0

    def splice(self, first: int) -> None:
        """Takes everything from transition `first` on back; a new course begins there."""
        self.past = self.past[:first]
        self.tick = sum(delta for delta, _ in self.past)
        self.lag = 0

    def payloads(self, transitions: Sequence[Transition], epoch: int = 0) -> list[bytes]:
        """All EDGES that say these transitions."""
        out = []
        at = 0
        while at < len(transitions):
            first, blocks, want = len(self.past), b"", self.rng.randint(1, 512)
            while len(self.past) - first < want and at < len(transitions):
                most = min(16, want - (len(self.past) - first), len(transitions) - at)
                items = transitions[at : at + self.rng.randint(1, most)]
                old_lag = self.lag
                more = self._block(items)
                if blocks and len(blocks) + len(more) > LARGEST_BLOCKS:
                    self.lag = old_lag
                    break
                blocks += more
                self.past.extend(items)
                self.tick += sum(delta for delta, _ in items)
                at += len(items)
            out.append(edges(epoch, first, self.tick, len(self.past) - first, blocks))
        return out

    def _block(self, items: Sequence[Transition]) -> bytes:
        reach = min(len(self.past), self.depth)
        lags = [lag for lag in self.lags if lag + 1 <= reach]
        old_lag = self.lag
        predictor = self.rng.choice([0, 1, 1, 2]) if lags else 0
        if lags and self.rng.random() < 0.5:
            self.lag = self.rng.choice(lags)
        if self.lag == 0:
            predictor = 0
        line = [*self.past[-(self.lag + 1) :], *items]
        begin = len(line) - len(items)
        same = self.lag and all(
            line[n][1] == line[n - self.lag][1] for n in range(begin, len(line))
        )
        send_masks = not same or self.rng.random() < 0.1
        return block(line[:begin], items, predictor, self.lag, old_lag, send_masks)

"""The block format of EDGES, and its decoder (PROTOCOL.md section 4)."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from edgewheel.link.bits import packed_bytes, unpack_rows, unzigzag
from edgewheel.link.history import History
from edgewheel.link.messages import Edges

Ints = npt.NDArray[np.int64]
Bytes = npt.NDArray[np.uint8]
Flags = npt.NDArray[np.bool_]

LITERAL, REPEAT, TREND = 0, 1, 2
BLOCK_TRANSITIONS = 16
FRAME_TRANSITIONS = 512
MASKS_FOLLOW = 1 << 12
LAG_FOLLOWS = 1 << 13
LOW_32 = 0xFFFF_FFFF


class StreamError(ValueError):
    """A frame that does not fit the stream: PROTOCOL.md's `bad_stream`."""


@dataclass(frozen=True)
class StreamLimits:
    """What the board said about its stream in WELCOME; all in transitions, ticks or bytes."""

    history_depth: int = 1024
    shortest_hold_ticks: int = 1
    first_tick: int = 0
    largest_frame: int = 250


class Head(NamedTuple):
    """A block header, taken apart; `size` is how many transitions it heads."""

    predictor: int
    size: int
    width: int
    has_masks: bool
    has_lag: bool
    residual_bytes: int


@functools.cache
def read_header(header: int) -> Head:
    """A block header; StreamError if it is none."""
    predictor, width = header & 3, header >> 6 & 63
    if predictor == 3 or width > 32 or header >> 14:
        raise StreamError(f"0x{header:04x} is not a block header")
    count = (header >> 2 & 15) + 1
    masks, lag = bool(header & MASKS_FOLLOW), bool(header & LAG_FOLLOWS)
    return Head(predictor, count, width, masks, lag, packed_bytes(count, width))


class Block(NamedTuple):
    """One block of a frame: its header, the lag in force, and where its data lie in the frame."""

    head: Head
    lag: int
    first: int
    data: int


def split_blocks(data: bytes, lag: int) -> tuple[list[Block], int]:
    """The blocks of a frame and the lag after it; StreamError if they do not fill it exactly."""
    blocks, at, first, end = [], 0, 0, len(data)
    while at < end:
        if at + 2 > end:
            raise StreamError("a block header is cut off")
        head = read_header(data[at] | data[at + 1] << 8)
        at += 2
        if head.has_lag:
            lag = int.from_bytes(data[at : at + 2], "little")
            at += 2
        blocks.append(Block(head, lag, first, at))
        at += head.residual_bytes + (head.size if head.has_masks else 0)
        first += head.size
    if at != end:
        raise StreamError("a block is cut off")
    return blocks, lag


class BlockDecoder:
    """Turns frames of EDGES back into transitions; the state is a history and the lag in force."""

    def __init__(self, limits: StreamLimits, history: History | None = None) -> None:
        self.limits = limits
        self.history = history or History(limits.history_depth)
        self.lag = 0

    def decode(self, edges: Edges) -> tuple[Ints, Bytes]:
        """Run ticks (n,) and masks (n,) of a frame; on StreamError nothing has changed."""
        history = self.history
        blocks, lag = split_blocks(edges.blocks, self.lag)
        count = blocks[-1].first + blocks[-1].head.size if blocks else 0
        if count != edges.count or not 0 < count <= FRAME_TRANSITIONS:
            raise StreamError(f"{count} transitions in a frame that says {edges.count}")
        if edges.first != history.count & LOW_32:
            raise StreamError(f"frame begins at {edges.first}, stream at {history.count}")
        deltas, masks, end = history.room(count)
        residuals = _residuals(blocks, edges.blocks, count)
        for run in _runs(blocks):
            self._predict(run, residuals, edges.blocks, (deltas, masks, end))
        new = deltas[end : end + count]
        ticks = np.cumsum(new)
        ticks += history.tick
        self._check(new, int(ticks[-1]), edges.end_tick)
        history.commit(count, int(ticks[-1]))
        self.lag = lag
        return ticks, masks[end : end + count].copy()

    def rewound(self, count: int, tick: int) -> BlockDecoder:
        """A decoder as a SPLICE leaves it: before transition `count`, with no lag."""
        return BlockDecoder(self.limits, self.history.truncated(count, tick))

    def _check(self, deltas: Ints, last_tick: int, end_tick: int) -> None:
        if last_tick & LOW_32 != end_tick:
            raise StreamError(f"frame ends at tick {last_tick}, but says {end_tick}")
        shortest = self.limits.shortest_hold_ticks
        least = self.limits.first_tick if not self.history.count else shortest
        if deltas[0] < least or deltas[1:].min(initial=shortest) < shortest:
            raise StreamError("a transition comes too soon after the one before")
        if deltas.max() > LOW_32:
            raise StreamError("a transition comes too long after the one before")

    def _predict(
        self, run: list[Block], residuals: Ints, data: bytes, store: tuple[Ints, Bytes, int]
    ) -> None:
        """Write the deltas and masks of a run of blocks that share their lag and kind."""
        head, lag, first, _ = run[0]
        deltas, masks, end = store
        count = run[-1].first + run[-1].head.size - first
        self._check_reach(run, self.history.count)
        place = end + first
        mine = residuals[first : first + count]
        if head.predictor == LITERAL:
            deltas[place : place + count] = mine
        else:
            restart = _restarts(run)
            for at in range(0, count, lag):
                to = min(at + lag, count)
                _from_history(deltas, place + at, lag, mine[at:to], restart[at:to])
        if head.has_masks:
            masks[place : place + count] = np.concatenate([_mask_bytes(b, data) for b in run])
        else:
            for at in range(place, place + count, lag):
                to = min(at + lag, place + count)
                masks[at:to] = masks[at - lag : to - lag]

    def _check_reach(self, run: list[Block], count: int) -> None:
        for block in run:
            head, lag, first, _ = block
            if head.predictor == LITERAL and head.has_masks:
                continue
            reach = lag + (head.predictor == TREND)
            if not lag or reach > count + first or reach > self.limits.history_depth:
                raise StreamError(f"a block looks back {reach} of {count + first} transitions")


def _from_history(deltas: Ints, place: int, lag: int, residuals: Ints, restart: Flags) -> None:
    """One piece, no longer than the lag: d[n] = d[n-lag] + change[n].

    The change is the residual where a block repeats (`restart` true), and grows by it where a block
    follows the trend.
    """
    count = len(residuals)
    back = deltas[place - lag : place - lag + count]
    if restart.all():
        change = residuals
    else:
        before = 0 if restart[0] else int(deltas[place - 1] - deltas[place - 1 - lag])
        change = np.cumsum(residuals)
        change += before
        if restart.any():
            # The sum begins anew at each transition that repeats: take off what had gathered before
            # it.
            gathered = np.where(restart, change - residuals, 0)
            last = np.maximum.accumulate(np.where(restart, np.arange(count), -1))
            change = change - np.where(last >= 0, gathered[last], 0)
    np.add(back, change, out=deltas[place : place + count])


def _restarts(run: list[Block]) -> Flags:
    """For each transition: is its change sent whole (repeat), not as a step (trend)?"""
    kinds = {block.head.predictor for block in run}
    total = run[-1].first + run[-1].head.size - run[0].first
    if len(kinds) == 1:
        return np.full(total, kinds == {REPEAT})
    return np.repeat(
        [block.head.predictor == REPEAT for block in run], [block.head.size for block in run]
    )


def _runs(blocks: list[Block]) -> list[list[Block]]:
    """Neighbouring blocks of one lag and one kind of deltas and masks, taken together."""
    runs: list[list[Block]] = []
    key = None
    for block in blocks:
        head = block.head
        mine = (block.lag, head.predictor == LITERAL, head.has_masks)
        if mine != key:
            runs.append([])
            key = mine
        runs[-1].append(block)
    return runs


def _mask_bytes(block: Block, data: bytes) -> Bytes:
    return np.frombuffer(data, np.uint8, block.head.size, block.data + block.head.residual_bytes)


def _residuals(blocks: list[Block], data: bytes, count: int) -> Ints:
    """All residuals of a frame, signed where their predictor has them signed."""
    groups: dict[Head, list[Block]] = {}
    for block in blocks:
        groups.setdefault(block.head, []).append(block)
    values = np.zeros(count, np.int64)
    raw = np.frombuffer(data, np.uint8)
    for head, members in groups.items():
        if not head.width:
            continue
        at = np.array([block.data for block in members])
        rows = raw[at[:, None] + np.arange(head.residual_bytes)]
        numbers = unpack_rows(rows, head.size, head.width)
        if head.predictor != LITERAL:
            numbers = unzigzag(numbers)
        first = np.array([block.first for block in members])
        values[first[:, None] + np.arange(head.size)] = numbers
    return values

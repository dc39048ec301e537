"""From transitions to frames of EDGES: batches of fixed size, whatever the chunks they came in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edgewheel.link.bits import pack_rows
from edgewheel.link.blocks import (
    BLOCK_TRANSITIONS,
    FRAME_TRANSITIONS,
    LAG_FOLLOWS,
    LITERAL,
    LOW_32,
    MASKS_FOLLOW,
    BlockDecoder,
    StreamLimits,
)
from edgewheel.link.frames import SMALLEST_FRAME
from edgewheel.link.history import History
from edgewheel.link.messages import COST_OVERHEAD, EDGES_HEAD, Edges
from edgewheel.link.plan import (
    HEADER_BYTES,
    LAG_BYTES,
    Batch,
    Cells,
    Costs,
    cells_of,
    choose_lags,
    costs,
    residuals,
    split_cells,
)

Ints = npt.NDArray[np.int64]
Bytes = npt.NDArray[np.uint8]

_BATCH = 2048
_LIVE_BATCH = 512
_SOON_BATCH = 64  # of a new course, whose first frames the board waits for
_SOON_BATCHES = 8
_LIVE_KEEP = 1 << 17
_LARGEST_BLOCK = HEADER_BYTES + LAG_BYTES + BLOCK_TRANSITIONS * (4 + 1)


@dataclass(frozen=True)
class EncodedFrame:
    """`count` transitions from index `first` on, at run ticks `first_tick` to `end_tick`."""

    first: int
    count: int
    first_tick: int
    end_tick: int
    blocks: bytes

    @property
    def cost(self) -> int:
        """What the frame takes of the board's credit, in bytes."""
        return EDGES_HEAD + len(self.blocks) + COST_OVERHEAD

    def payload(self, epoch: int) -> bytes:
        """The payload of the EDGES message that carries the frame."""
        return Edges(
            epoch, self.count, self.first & LOW_32, self.end_tick & LOW_32, self.blocks
        ).pack()


class BlockEncoder:
    """Turns a stream of transitions into frames, and decodes each frame before it hands it over.

    `lag_hint` is how many transitions one engine cycle has, 0 if nobody knows; it saves a search,
    no more. `span_ticks`, if given, ends a frame wherever the run tick passes a multiple of it, so
    that a SPLICE finds a place soon. The frames depend on the transitions alone, not on the chunks
    in which they came.
    """

    def __init__(
        self, limits: StreamLimits, lag_hint: int = 0, span_ticks: int | None = None
    ) -> None:
        if limits.largest_frame < SMALLEST_FRAME + EDGES_HEAD + _LARGEST_BLOCK:
            raise ValueError(f"a frame of {limits.largest_frame} bytes is too small for a block")
        keep = 0 if span_ticks is None else _LIVE_KEEP
        self._decoder = BlockDecoder(limits, History(limits.history_depth, keep))
        self._hint = lag_hint if lag_hint <= limits.history_depth else 0
        self._span = span_ticks
        self._batch = _BATCH if span_ticks is None else _LIVE_BATCH
        self._soon = 0
        self._ticks, self._masks = np.zeros(0, np.int64), np.zeros(0, np.uint8)

    @property
    def count(self) -> int:
        """Transitions encoded so far, since START."""
        return self._decoder.history.count

    @property
    def last_tick(self) -> int:
        """Run tick of the last of them, 0 if there is none."""
        return self._decoder.history.tick

    def mask_before(self, count: int) -> int | None:
        """The mask after `count` transitions; None if there was none yet."""
        return self._decoder.history.mask_before(count)

    def rewound(self, count: int, tick: int) -> BlockEncoder:
        """An encoder for a new course from transition `count` on; the one before is at `tick`."""
        other = BlockEncoder(self._decoder.limits, self._hint, self._span)
        other._decoder = self._decoder.rewound(count, tick)
        other._soon = _SOON_BATCHES
        return other

    def feed(self, ticks: Ints, masks: Bytes) -> Iterator[EncodedFrame]:
        """Take run ticks (n,) and masks (n,); give the frames of each batch they complete.

        ValueError if two transitions are closer than the board's shortest hold, or too far apart.
        """
        self._ticks = np.concatenate((self._ticks, ticks))
        self._masks = np.concatenate((self._masks, masks))
        while len(self._ticks) >= (size := _SOON_BATCH if self._soon else self._batch):
            self._soon = max(self._soon - 1, 0)
            ticks, self._ticks = self._ticks[:size], self._ticks[size:]
            masks, self._masks = self._masks[:size], self._masks[size:]
            yield from self._encode(ticks, masks)

    def finish(self) -> Iterator[EncodedFrame]:
        """The frames of what is left."""
        ticks, masks = self._ticks, self._masks
        self._ticks, self._masks = ticks[:0], masks[:0]
        if len(ticks):
            yield from self._encode(ticks, masks)

    def _encode(self, ticks: Ints, masks: Bytes) -> Iterator[EncodedFrame]:
        history = self._decoder.history
        deltas = np.diff(ticks, prepend=history.tick)
        self._check(deltas, ticks)
        old_deltas, old_masks = history.tail(history.depth + 1)
        batch = Batch(
            np.concatenate((old_deltas, deltas)),
            np.concatenate((old_masks, masks)),
            len(old_deltas),
            history.count,
            history.depth,
        )
        cells, begins = cells_of(ticks, self._span)
        lags, found = choose_lags(batch, cells, self._decoder.lag, self._hint)
        if found is None:
            whole = cells
            cells, lags = split_cells(batch, cells, lags)
            begins = np.searchsorted(cells.first, whole.first[begins])
            found = costs(batch, cells, lags[:, None])
        codes, _ = residuals(batch, cells, lags)
        data, offsets = _assemble(masks, cells, (lags, self._decoder.lag), found, codes)
        for begin, end in _frames(cells, offsets, begins, self._decoder.limits.largest_frame):
            yield self._frame(
                ticks, masks, (cells, begin, end), data[offsets[begin] : offsets[end]]
            )

    def _frame(
        self, ticks: Ints, masks: Bytes, span: tuple[Cells, int, int], data: Bytes
    ) -> EncodedFrame:
        """A frame of the batch, decoded and compared."""
        cells, begin, end = span
        first, last = int(cells.first[begin]), int(cells.first[end - 1] + cells.count[end - 1])
        frame = EncodedFrame(
            self.count, last - first, int(ticks[first]), int(ticks[last - 1]), data.tobytes()
        )
        edges = Edges(0, frame.count, frame.first & LOW_32, frame.end_tick & LOW_32, frame.blocks)
        got_ticks, got_masks = self._decoder.decode(edges)
        if not np.array_equal(got_ticks, ticks[first:last]) or not np.array_equal(
            got_masks, masks[first:last]
        ):
            raise AssertionError(f"the encoder failed its own check at transition {frame.first}")
        return frame

    def _check(self, deltas: Ints, ticks: Ints) -> None:
        limits = self._decoder.limits
        least = np.full(len(deltas), limits.shortest_hold_ticks)
        if not self.count:
            least[0] = limits.first_tick
        wrong = np.flatnonzero((deltas < least) | (deltas > LOW_32))
        if len(wrong):
            at = int(wrong[0])
            raise ValueError(
                f"transition {self.count + at} at tick {ticks[at]} is {deltas[at]} ticks after "
                f"the one before; the board wants {least[at]} to {LOW_32}"
            )


def _assemble(
    masks: Bytes, cells: Cells, lags: tuple[Ints, int], found: Costs, codes: Ints
) -> tuple[Bytes, Ints]:
    """The bytes of all blocks, and where each begins (r + 1,).

    `lags` are each block's, and the one in force before; `codes` its residuals, by predictor.
    """
    predictor, width, send_masks = found.predictor[:, 0], found.width[:, 0], found.masks[:, 0]
    in_force = _lags_in_force(lags[0], (predictor != LITERAL) | ~send_masks, lags[1])
    new_lag = np.diff(in_force, prepend=lags[1]) != 0
    residual_bytes = (cells.count * width + 7) >> 3
    sizes = HEADER_BYTES + LAG_BYTES * new_lag + residual_bytes + cells.count * send_masks
    offsets = np.concatenate(([0], np.cumsum(sizes)))
    data = np.zeros(offsets[-1], np.uint8)
    header = predictor | (cells.count - 1) << 2 | width << 6
    header |= send_masks * MASKS_FOLLOW | new_lag * LAG_FOLLOWS
    begin = offsets[:-1]
    _put_u16(data, begin, header)
    _put_u16(data, begin[new_lag] + HEADER_BYTES, in_force[new_lag])
    sent = codes[predictor, np.arange(len(cells))]
    _put_residuals(data, begin + HEADER_BYTES + LAG_BYTES * new_lag, (cells.count, width), sent)
    for row in np.flatnonzero(send_masks).tolist():
        first, count, end = int(cells.first[row]), int(cells.count[row]), int(offsets[row + 1])
        data[end - count : end] = masks[first : first + count]
    return data, offsets


def _lags_in_force(lags: Ints, needed: npt.NDArray[np.bool_], lag: int) -> Ints:
    """The lag of each block that looks back, else that of the one before: none is sent in vain."""
    last = np.maximum.accumulate(np.where(needed, np.arange(len(lags)), -1))
    return np.where(last >= 0, lags[last], lag)


def _put_u16(data: Bytes, at: Ints, values: Ints) -> None:
    data[at] = values & 0xFF
    data[at + 1] = values >> 8


def _put_residuals(data: Bytes, at: Ints, shape: tuple[Ints, Ints], codes: Ints) -> None:
    count, width = shape
    for kind in np.unique(count << 6 | width).tolist():
        n, bits = kind >> 6, kind & 63
        if not bits:
            continue
        rows = np.flatnonzero((count == n) & (width == bits))
        packed = pack_rows(codes[rows, :n], bits)
        data[at[rows, None] + np.arange(packed.shape[1])] = packed


def _frames(
    cells: Cells, offsets: Ints, begins: Ints, largest_frame: int
) -> Iterator[tuple[int, int]]:
    """Blocks [begin, end) of each frame: as many as fit, never across the start of a span."""
    room = largest_frame - SMALLEST_FRAME - EDGES_HEAD
    ends = cells.first + cells.count
    stops = np.append(begins[1:], len(cells))
    begin = 0
    for stop in stops.tolist():
        while begin < stop:
            by_bytes = int(np.searchsorted(offsets, offsets[begin] + room, side="right")) - 1
            by_count = int(
                np.searchsorted(ends, cells.first[begin] + FRAME_TRANSITIONS, side="right")
            )
            end = min(by_bytes, by_count, stop)
            yield begin, end
            begin = end

"""How the encoder chooses: what each way to send a block costs, which lag to use, where to split.

Everything works on *cells*: runs of at most 16 neighbouring transitions of one batch, all at once.
Nothing here is part of the wire; whatever it chooses decodes to the same transitions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edgewheel.link.bits import bit_lengths, zigzag
from edgewheel.link.blocks import BLOCK_TRANSITIONS, LITERAL, REPEAT, TREND

Ints = npt.NDArray[np.int64]
Bytes = npt.NDArray[np.uint8]
Flags = npt.NDArray[np.bool_]

HEADER_BYTES = 2
LAG_BYTES = 2
_IMPOSSIBLE = 1 << 20
_NEAR = 24  # how far a fault may shift the lag between two looks
_WORTH_A_SEARCH = 8  # bytes a cell must be above twice the quiet ones
_WORTH_A_SPLIT = 8  # bytes a cell must be above the quiet ones
_SAMPLES = 4  # cells that a search over all lags looks at


@dataclass(frozen=True, eq=False)
class Batch:
    """A batch of transitions and what came before it.

    `deltas`, `masks` (h + n,) begin with the last h transitions of the history; `count` transitions
    went before the batch since START; prediction reaches `depth` back.
    """

    deltas: Ints
    masks: Bytes
    h: int
    count: int
    depth: int


@dataclass(frozen=True, eq=False)
class Cells:
    """Cells (r,): index of the first transition in the batch, and how many (1 to 16)."""

    first: Ints
    count: Ints

    def __len__(self) -> int:
        return len(self.first)

    def rows(self, chosen: Flags | Ints) -> Cells:
        return Cells(self.first[chosen], self.count[chosen])


@dataclass(frozen=True, eq=False)
class Costs:
    """For r cells and c lags, each (r, c): bytes, predictor, width and whether masks are sent."""

    cost: Ints
    predictor: Ints
    width: Ints
    masks: Flags


def cells_of(ticks: Ints, span_ticks: int | None) -> tuple[Cells, Ints]:
    """Cut a batch into cells; which of them begin a time span, and so a frame of their own."""
    count = len(ticks)
    if span_ticks is None:
        first = np.arange(0, count, BLOCK_TRANSITIONS)
        return Cells(first, np.minimum(BLOCK_TRANSITIONS, count - first)), first[:1] * 0
    spans = ticks // span_ticks
    begins = np.concatenate(([0], np.flatnonzero(np.diff(spans)) + 1))
    lengths = np.diff(np.append(begins, count))
    pieces = [
        np.arange(b, b + n, BLOCK_TRANSITIONS)
        for b, n in zip(begins.tolist(), lengths.tolist(), strict=True)
    ]
    first = np.concatenate(pieces)
    ends = np.repeat(begins + lengths, [len(piece) for piece in pieces])
    return Cells(first, np.minimum(BLOCK_TRANSITIONS, ends - first)), np.searchsorted(first, begins)


def costs(batch: Batch, cells: Cells, lags: Ints) -> Costs:
    """What each cell costs with each lag; `lags` is (r or 1, c)."""
    deltas, change, wrong = _compared(batch, cells, lags)
    largest = (
        deltas.max(axis=0)[:, None],
        _zigzagged(change[1:]),
        _zigzagged(np.diff(change, axis=0)),
    )
    reach = np.minimum(batch.count + cells.first[:, None], batch.depth)
    blind = (lags == 0) | (lags > reach)
    count = cells.count[:, None]
    widths = [bit_lengths(one) for one in largest]
    sizes = [
        np.where((width > 32) | unknown, _IMPOSSIBLE, HEADER_BYTES + ((count * width + 7) >> 3))
        for width, unknown in zip(widths, (False, blind, blind | (lags + 1 > reach)), strict=True)
    ]
    # On equal cost a plain repeat is the quickest to decode, then the trend.
    least = np.minimum(np.minimum(sizes[LITERAL], sizes[REPEAT]), sizes[TREND])
    repeats, follows = sizes[REPEAT] == least, sizes[TREND] == least
    masks = wrong.any(axis=0) | blind
    return Costs(
        least + count * masks,
        np.where(repeats, REPEAT, np.where(follows, TREND, LITERAL)),
        np.where(repeats, widths[REPEAT], np.where(follows, widths[TREND], widths[LITERAL])),
        masks,
    )


def residuals(batch: Batch, cells: Cells, lags: Ints) -> tuple[Ints, Flags]:
    """With a lag for each of r cells: the residuals as sent (3, r, 16), by predictor, and the masks
    mispredicted (r, 16). Beyond a cell's count they mean nothing.
    """
    deltas, change, wrong = _compared(batch, cells, lags[:, None])
    change = change[:, :, 0]
    codes = np.stack([deltas, zigzag(change[1:]), zigzag(np.diff(change, axis=0))])
    return codes.transpose(0, 2, 1), wrong[:, :, 0].T


def _compared(batch: Batch, cells: Cells, lags: Ints) -> tuple[Ints, Ints, Flags]:
    """Cells beside what came `lags` (r or 1, c) before: deltas (16, r), their change (17, r, c)
    from the transition before the cell on, and whether masks differ (16, r, c).

    Shorter cells go on with their last transition, which makes nothing larger.
    """
    within = np.arange(-1, BLOCK_TRANSITIONS)[:, None]
    at = batch.h + cells.first + np.minimum(within, cells.count - 1)
    back = np.maximum(at[:, :, None] - lags, 0)
    deltas = batch.deltas[at]
    change = deltas[:, :, None] - batch.deltas[back]
    return deltas[1:], change, batch.masks[at[1:], None] != batch.masks[back[1:]]


def _zigzagged(values: Ints) -> Ints:
    """The largest along the first axis of what :func:`zigzag` makes of the values."""
    return np.maximum(zigzag(values.max(axis=0)), zigzag(values.min(axis=0)))


@dataclass(frozen=True, eq=False)
class Options:
    """Lags (c,) to choose from; for each cell and lag, (r, c), bytes and whether masks are sent."""

    lags: Ints
    cost: Ints
    masks: Flags

    def bad(self) -> Flags:
        """Cells (r,) for which other lags may pay: much dearer than the rest, or with masks."""
        best = self.cost.argmin(axis=1)[:, None]
        cost = np.take_along_axis(self.cost, best, 1)[:, 0]
        masks = np.take_along_axis(self.masks, best, 1)[:, 0]
        return masks | (cost > 2 * _quiet(cost) + _WORTH_A_SEARCH)

    def wider(self, batch: Batch, cells: Cells, rows: Flags, more: set[int]) -> Options:
        """The same with the lags of `more` for some of the rows; the others cannot use them."""
        new = np.array(sorted(more - set(self.lags.tolist())), np.int64)
        if not len(new):
            return self
        found = costs(batch, cells.rows(rows), new[None])
        cost = np.full((len(cells), len(new)), _IMPOSSIBLE)
        masks = np.ones((len(cells), len(new)), bool)
        cost[rows], masks[rows] = found.cost, found.masks
        return Options(
            np.concatenate((self.lags, new)),
            np.concatenate((self.cost, cost), axis=1),
            np.concatenate((self.masks, masks), axis=1),
        )


def _quiet(cost: Ints) -> int:
    """What the cheaper cells of a batch cost, in bytes."""
    quarter = len(cost) // 4
    return min(int(np.partition(cost, quarter)[quarter]), 2 * BLOCK_TRANSITIONS)


def choose_lags(batch: Batch, cells: Cells, lag: int, hint: int) -> tuple[Ints, Costs | None]:
    """A lag for each cell (r,), and the costs with it if no cell asks for a second look.

    `lag` is in force when the batch begins, `hint` is how many transitions one engine cycle should
    have, 0 if unknown.
    """
    usual = np.array(sorted({lag, hint} - {0}) or [1])
    found = costs(batch, cells, usual[None])
    options = Options(usual, found.cost, found.masks)
    bad = options.bad()
    if usual.size == 1 and not bad.any():
        return np.full(len(cells), usual[0]), found
    if bad.any():
        options = _search(batch, cells, options, bad)
    return _walk(options, lag), None


def _search(batch: Batch, cells: Cells, options: Options, bad: Flags) -> Options:
    """Try lags near the usual ones and, if that does not help, the best of all lags.

    A fault that drops or adds transitions shifts the lag by as many; what was a cycle ago is then a
    little nearer or further.
    """
    farthest = min(batch.depth, batch.count + int(cells.first[-1]))
    near = {lag + k for lag in options.lags.tolist() for k in range(-_NEAR, _NEAR + 1)}
    near |= set(range(1, 9))
    options = options.wider(batch, cells, bad, {lag for lag in near if 0 < lag <= farthest})
    still = np.flatnonzero(bad & options.bad())
    if len(still) < _SAMPLES or not farthest:
        return options
    sample = cells.rows(still[:: len(still) // _SAMPLES][-_SAMPLES:])
    every = costs(batch, sample, np.arange(1, farthest + 1)[None])
    best = set((every.cost.argmin(axis=1) + 1).tolist())
    return options.wider(batch, cells, np.ones_like(bad), best)


def _walk(options: Options, lag: int) -> Ints:
    """Go through the cells and change the lag where that is cheaper than to stay."""
    useful = np.unique(np.append(options.cost.argmin(axis=1), 0))
    lags, cost = options.lags[useful].tolist(), options.cost[:, useful]
    chosen: list[int] = []
    current = lag
    for prices in cost.tolist():
        with_change = [
            price + LAG_BYTES * (to != current) for to, price in zip(lags, prices, strict=True)
        ]
        current = lags[with_change.index(min(with_change))]
        chosen.append(current)
    return np.array(chosen)


def split_cells(batch: Batch, cells: Cells, lags: Ints) -> tuple[Cells, Ints]:
    """Split the dear cells where that saves bytes; the cells that result and their lags.

    One odd transition makes all the residuals of its block wide. For each dear cell, the cheapest
    way to cut it is found exactly, by dynamic programming over the places of the cuts.
    """
    found = costs(batch, cells, lags[:, None])
    dear = np.flatnonzero(found.cost[:, 0] > _quiet(found.cost[:, 0]) + _WORTH_A_SPLIT)
    if not len(dear):
        return cells, lags
    ways = _cuts(batch, cells.rows(dear), lags[dear])
    first, count, lag = [], [], []
    for row in range(len(cells)):
        begin = int(cells.first[row])
        lengths = ways[int(np.searchsorted(dear, row))] if row in dear else [int(cells.count[row])]
        for length in lengths:
            first.append(begin)
            count.append(length)
            lag.append(int(lags[row]))
            begin += length
    return Cells(np.array(first), np.array(count)), np.array(lag)


def _cuts(batch: Batch, cells: Cells, lags: Ints) -> list[list[int]]:
    """For each cell and its lag, the lengths of the blocks that cost least together."""
    size = BLOCK_TRANSITIONS
    codes, wrong = residuals(batch, cells, lags)
    widths = bit_lengths(codes)
    reach = np.minimum(batch.count + cells.first, batch.depth)
    blind = (lags == 0) | (lags > reach)
    widths[1:, blind] = 64
    widths[2, lags + 1 > reach] = 64
    lengths = np.arange(1, size + 1)
    best = np.full((len(cells), size + 1), _IMPOSSIBLE)
    best[:, 0] = 0
    come_from = np.zeros((len(cells), size + 1), np.int64)
    for begin in range(size):
        n = lengths[: size - begin]
        wide = np.maximum.accumulate(widths[:, :, begin:], axis=2)
        price = np.where(wide > 32, _IMPOSSIBLE, (n * wide + 7) >> 3).min(axis=0)
        send_masks = np.logical_or.accumulate(wrong[:, begin:], axis=1) | blind[:, None]
        total = best[:, begin, None] + HEADER_BYTES + price + n * send_masks
        better = total < best[:, begin + 1 :]
        best[:, begin + 1 :][better] = total[better]
        come_from[:, begin + 1 :][better] = begin
    return [_way_back(come_from[row], int(cells.count[row])) for row in range(len(cells))]


def _way_back(come_from: Ints, end: int) -> list[int]:
    lengths: list[int] = []
    while end:
        begin = int(come_from[end])
        lengths.insert(0, end - begin)
        end = begin
    return lengths

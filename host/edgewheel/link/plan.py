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
    """For r cells and c lags, each (r, c): bytes, predictor, width and whether masks are sent.

    `codes` (3, r, c, 16): residuals as sent, by predictor.
    """

    cost: Ints
    predictor: Ints
    width: Ints
    masks: Flags
    codes: Ints
    wrong_masks: Flags


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
    lags = np.broadcast_to(lags, (len(cells), lags.shape[1]))
    within = np.arange(BLOCK_TRANSITIONS)
    used = within < cells.count[:, None]
    at = batch.h + cells.first[:, None] + np.where(used, within, 0)
    back = np.maximum(at[:, None, :] - lags[:, :, None], 0)
    change = batch.deltas[at][:, None, :] - batch.deltas[back]
    before = at[:, :1] - 1
    before_back = np.maximum(before - lags, 0)
    steps = np.empty_like(change)
    steps[:, :, 1:] = change[:, :, 1:] - change[:, :, :-1]
    steps[:, :, 0] = change[:, :, 0] - (batch.deltas[before] - batch.deltas[before_back])
    literal = np.broadcast_to(batch.deltas[at][:, None, :], change.shape)
    codes = np.stack([literal, zigzag(change), zigzag(steps)])
    codes *= used[:, None, :]
    wrong = (batch.masks[at][:, None, :] != batch.masks[back]) & used[:, None, :]
    return _choose(batch, cells, lags, codes, wrong)


def _choose(batch: Batch, cells: Cells, lags: Ints, codes: Ints, wrong: Flags) -> Costs:
    """The cheapest predictor for each cell and lag, of those that the history allows."""
    count = cells.count[:, None]
    reach = np.minimum(batch.count + cells.first[:, None], batch.depth)
    blind = (lags == 0) | (lags > reach)
    widths = bit_lengths(codes.max(axis=3))
    sizes = HEADER_BYTES + ((count * widths + 7) >> 3)
    sizes[REPEAT][blind] = _IMPOSSIBLE
    sizes[TREND][blind | (lags + 1 > reach)] = _IMPOSSIBLE
    sizes[widths > 32] = _IMPOSSIBLE
    # On equal cost a plain repeat is the quickest to decode, then the trend.
    order = np.array([REPEAT, TREND, LITERAL])
    predictor = order[np.argmin(sizes[order], axis=0)]
    masks = wrong.any(axis=2) | blind
    cost = np.take_along_axis(sizes, predictor[None], 0)[0] + count * masks
    width = np.take_along_axis(widths, predictor[None], 0)[0]
    return Costs(cost, predictor, width, masks, codes, wrong)


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
    lags, cost = options.lags[useful], options.cost[:, useful]
    chosen = np.empty(len(cost), np.int64)
    current = lag
    for row in range(len(cost)):
        prices = cost[row] + LAG_BYTES * (lags != current)
        current = int(lags[int(prices.argmin())])
        chosen[row] = current
    return chosen


def split_cells(batch: Batch, cells: Cells, lags: Ints) -> tuple[Cells, Ints]:
    """Split the dear cells where that saves bytes; the cells that result and their lags.

    One odd transition makes all the residuals of its block wide. For each dear cell, the cheapest
    way to cut it is found exactly, by dynamic programming over the places of the cuts.
    """
    found = costs(batch, cells, lags[:, None])
    dear = np.flatnonzero(found.cost[:, 0] > _quiet(found.cost[:, 0]) + _WORTH_A_SPLIT)
    if not len(dear):
        return cells, lags
    ways = _cuts(
        batch, cells.rows(dear), lags[dear], found.codes[:, dear, 0], found.wrong_masks[dear, 0]
    )
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


def _cuts(batch: Batch, cells: Cells, lags: Ints, codes: Ints, wrong: Flags) -> list[list[int]]:
    """For each cell, the lengths of the blocks that cost least together.

    `codes` (3, r, 16) are the residuals by predictor, `wrong` (r, 16) the masks mispredicted.
    """
    size = BLOCK_TRANSITIONS
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

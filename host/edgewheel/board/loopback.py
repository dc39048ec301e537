"""Which output is wired to which input, and how long an edge takes on the way round.

Each output in turn gives a few pulses, slow enough that every captured edge belongs to the last
edge sent before it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from edgewheel.edges.table import PinChunk

PULSES = 8
"""That count; one more goes before, to find the levels from which the inputs start."""

HOLD_MS = 6
"""Between edges: the longest delay that can be told."""

_ENDS = 2 * (PULSES + 1)
_COUNTED = 2 * PULSES

Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Delay:
    """How late edges came, in seconds: mean, standard deviation, and latest minus earliest."""

    mean_s: float
    deviation_s: float
    spread_s: float

    @classmethod
    def of(cls, ticks: Sequence[int], tick_hz: int) -> Delay:
        """From delays in ticks, at least one."""
        seconds = np.array(ticks) / tick_hz
        return cls(float(seconds.mean()), float(seconds.std()), float(np.ptp(seconds)))


@dataclass(frozen=True)
class Loop:
    """An input that follows an output; lines are numbered from 0.

    `rise` and `fall` are by the edge at the output. `missing` counts sent edges that no change of
    the input followed, `extra` changes beyond one.
    """

    output: int
    input: int
    inverts: bool
    rise: Delay
    fall: Delay
    missing: int
    extra: int


class PulseTable:
    """The pulses for some outputs, one after the other; run ticks from `first_tick` on."""

    def __init__(self, outputs: Sequence[int], tick_hz: int, first_tick: int) -> None:
        self.outputs = tuple(outputs)
        self._tick_hz = tick_hz
        hold = HOLD_MS * tick_hz // 1000
        count = len(outputs) * _ENDS
        self._ticks: Ints = first_tick + np.arange(count, dtype=np.int64) * hold
        high = 1 - np.arange(count) % 2
        self._masks = (high << np.repeat(outputs, _ENDS)).astype(np.uint8)

    def __len__(self) -> int:
        return len(self._ticks)

    @property
    def seconds(self) -> float:
        """How long it takes to play."""
        return float(self._ticks[-1]) / self._tick_hz

    def chunks(self) -> Iterator[PinChunk]:
        """The table, to be played."""
        yield PinChunk(self._ticks, self._masks)

    def loops(self, start_tick: int, ticks: Sequence[int], levels: Sequence[int]) -> list[Loop]:
        """The loops that captured changes show.

        `start_tick` is the board's tick at run tick 0; `ticks` are board ticks, `levels` the
        levels of all inputs from then on.
        """
        by_pair: dict[tuple[int, int], dict[int, list[tuple[int, int]]]] = defaultdict(dict)
        for tick, line, level in _changes(ticks, levels):
            sent = int(np.searchsorted(self._ticks, tick - start_tick, side="right")) - 1
            if sent >= 0 and sent % _ENDS >= 2:
                late = tick - start_tick - int(self._ticks[sent])
                edges = by_pair[sent // _ENDS, line]
                edges.setdefault(sent % _ENDS, []).append((late, level))
        found = (self._loop(place, line, edges) for (place, line), edges in by_pair.items())
        return [loop for loop in found if loop is not None]

    def _loop(self, place: int, line: int, edges: dict[int, list[tuple[int, int]]]) -> Loop | None:
        """The loop, if the input followed most edges to the same level each time.

        `edges` has, by sent edge, (ticks late, level) of each change that followed.
        """
        following = [
            (end, late) for end, ((late, level), *_) in edges.items() if level == (end + 1) % 2
        ]
        against = [(end, late) for end, ((late, level), *_) in edges.items() if level == end % 2]
        inverts = len(against) > len(following)
        right = against if inverts else following
        rises = [late for end, late in right if end % 2 == 0]
        falls = [late for end, late in right if end % 2 == 1]
        if min(len(rises), len(falls)) <= PULSES // 2:
            return None
        return Loop(
            self.outputs[place],
            line,
            inverts,
            Delay.of(rises, self._tick_hz),
            Delay.of(falls, self._tick_hz),
            missing=_COUNTED - len(right),
            extra=sum(map(len, edges.values())) - len(right),
        )


def _changes(ticks: Sequence[int], levels: Sequence[int]) -> Iterator[tuple[int, int, int]]:
    """(tick, line, level) of each change after the first entry, from which the levels are known."""
    for tick, before, after in zip(ticks[1:], levels, levels[1:], strict=False):
        changed = before ^ after
        for line in range(changed.bit_length()):
            if changed >> line & 1:
                yield tick, line, after >> line & 1

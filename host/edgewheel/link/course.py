"""One course of a stream: where its transitions come from, and how much of it has been sent."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from edgewheel.edges.table import PinChunk
from edgewheel.link.encoder import BlockEncoder, EncodedFrame


@dataclass(frozen=True)
class SplicePoint:
    """Where a new course may begin: it replaces everything from transition `first` on.

    The transition before it is at run tick `after_tick` and stays, `mask` being what it leaves
    (None before the first); the old course has none from there to `from_tick`, the least run tick
    at which the new one may have its first.
    """

    first: int
    after_tick: int
    from_tick: int
    mask: int | None = None


class _Boundary(NamedTuple):
    first: int
    first_tick: int
    tick_before: int


class Course:
    """Pulls chunks from a source only as frames are wanted, so memory stays bounded."""

    def __init__(
        self,
        source: Iterator[PinChunk],
        encoder: BlockEncoder,
        epoch: int,
        sent: tuple[int, int] = (0, 0),
    ) -> None:
        self.epoch = epoch
        self.encoder = encoder
        self.count, self.last_tick = sent
        self._frames = self._encode(source)
        self._next: EncodedFrame | None = None
        self._drawn = False
        self._boundaries: deque[_Boundary] = deque()

    def _encode(self, source: Iterator[PinChunk]) -> Iterator[EncodedFrame]:
        for chunk in source:
            yield from self.encoder.feed(chunk.ticks, chunk.masks)
        yield from self.encoder.finish()

    @property
    def next(self) -> EncodedFrame | None:
        """The frame to send next; None if the course is complete.

        It is made when it is asked for: a SPLICE must not wait until its new course is encoded.
        """
        if not self._drawn:
            self._next, self._drawn = next(self._frames, None), True
        return self._next

    def take(self) -> EncodedFrame:
        """The same, and it counts as sent from now on."""
        frame = self.next
        assert frame is not None
        self._boundaries.append(_Boundary(frame.first, frame.first_tick, self.last_tick))
        self.count += frame.count
        self.last_tick = frame.end_tick
        self._drawn = False
        return frame

    def forget(self, played: int) -> None:
        """Transitions before `played` are on the pins: no new course can begin among them."""
        while self._boundaries and self._boundaries[0].first < played:
            self._boundaries.popleft()

    def point_at(self, need_tick: int, shortest_hold_ticks: int) -> SplicePoint:
        """The first place for a new course with no transition before run tick `need_tick`."""
        for boundary in self._boundaries:
            if boundary.first_tick >= need_tick:
                first, tick_before = boundary.first, boundary.tick_before
                break
        else:
            first, tick_before = self.count, self.last_tick
        from_tick = max(need_tick, tick_before + shortest_hold_ticks)
        return SplicePoint(first, tick_before, from_tick, self.encoder.mask_before(first))

    def spliced(self, source: Iterator[PinChunk], point: SplicePoint, epoch: int) -> Course:
        """The new course from a point on; this one stays as it is."""
        encoder = self.encoder.rewound(point.first, point.after_tick)
        new = Course(source, encoder, epoch, (point.first, point.after_tick))
        new._boundaries.extend(b for b in self._boundaries if b.first < point.first)
        return new

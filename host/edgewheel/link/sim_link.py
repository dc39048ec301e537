"""A link that exists in memory: a rate, a latency, and faults by the dice of a seed."""

from __future__ import annotations

import heapq
import math
import random
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class LinkFaults:
    """How often each fault strikes a frame, 0 to 1; from `cut_ns` on, nothing passes any more."""

    drop: float = 0.0
    duplicate: float = 0.0
    reorder: float = 0.0
    corrupt: float = 0.0
    truncate: float = 0.0
    cut_ns: int | None = None


NO_FAULTS = LinkFaults()
_LATEST_NS = 10_000_000  # how late a reordered frame may be


class Lane:
    """One direction of a link. Senders give it whole frames; receivers get bytes."""

    def __init__(
        self,
        bytes_per_s: float = math.inf,
        latency_ns: int = 0,
        faults: LinkFaults = NO_FAULTS,
        seed: int = 0,
    ) -> None:
        self._ns_per_byte = 1e9 / bytes_per_s
        self._latency_ns = latency_ns
        self._faults = faults
        self._perfect = faults == NO_FAULTS
        self._dice = random.Random(seed)
        self._free_ns = 0.0
        self._under_way: list[tuple[int, int, bytes]] = []
        self._count = 0

    @property
    def next_ns(self) -> int | None:
        """When the next bytes arrive, None if none are under way."""
        return self._under_way[0][0] if self._under_way else None

    def send(self, data: bytes, now_ns: int) -> None:
        """Put frames on the way."""
        for frame in data.split(b"\0")[:-1]:
            whole = frame + b"\0"
            for copy in (whole,) if self._perfect else self._struck(whole, now_ns):
                self._put(copy, now_ns)

    def receive(self, now_ns: int) -> bytes:
        """What has arrived by now."""
        out = []
        while self._under_way and self._under_way[0][0] <= now_ns:
            out.append(heapq.heappop(self._under_way)[2])
        return b"".join(out)

    def _put(self, data: bytes, now_ns: int) -> None:
        late_ns = 0
        if not self._perfect and self._dice.random() < self._faults.reorder:
            late_ns = self._dice.randrange(_LATEST_NS)
        self._free_ns = max(self._free_ns, now_ns) + len(data) * self._ns_per_byte
        arrival = int(self._free_ns) + self._latency_ns + late_ns
        self._count += 1
        heapq.heappush(self._under_way, (arrival, self._count, data))

    def _struck(self, frame: bytes, now_ns: int) -> Sequence[bytes]:
        """What becomes of a frame: nothing, itself, or something worse."""
        faults, dice = self._faults, self._dice
        if faults.cut_ns is not None and now_ns >= faults.cut_ns:
            return []
        if dice.random() < faults.drop:
            return []
        if dice.random() < faults.corrupt:
            at = dice.randrange(len(frame))
            frame = frame[:at] + bytes((frame[at] ^ dice.randrange(1, 256),)) + frame[at + 1 :]
        if dice.random() < faults.truncate:
            frame = frame[: dice.randrange(len(frame))]
        return [frame] * (2 if dice.random() < faults.duplicate else 1)


class SimLink:
    """Both directions, each with its own dice."""

    def __init__(
        self,
        bytes_per_s: float = math.inf,
        latency_ns: int = 0,
        faults: LinkFaults = NO_FAULTS,
        seed: int = 0,
    ) -> None:
        self.to_board = Lane(bytes_per_s, latency_ns, faults, 2 * seed)
        self.to_host = Lane(bytes_per_s, latency_ns, faults, 2 * seed + 1)

"""Ordered frames on their way: numbered, repeated until the board has taken them (go-back-N)."""

from __future__ import annotations

from collections import deque
from collections.abc import Container

from edgewheel.link.frames import encode_frame

WINDOW = 64


class Outbox:
    """Frames that the board has not acknowledged, oldest first, and those not sent yet."""

    def __init__(self, first_seq: int = 0) -> None:
        self.next_seq = first_seq  # of the oldest frame not acknowledged
        self.retransmits = 0
        self._frames: deque[tuple[int, bytes]] = deque()
        self._sent = 0
        self._ever_sent = 0

    @property
    def has_room(self) -> bool:
        """May another frame be added?"""
        return len(self._frames) < WINDOW

    @property
    def has_unsent(self) -> bool:
        """Is there a frame to send?"""
        return self._sent < len(self._frames)

    @property
    def waits(self) -> bool:
        """Are frames under way that are not acknowledged?"""
        return self._sent > 0

    def add(self, type_: int, payload: bytes) -> None:
        """Put a frame at the end."""
        self._frames.append((type_, payload))

    def next_frame(self) -> bytes:
        """The bytes of the next frame to send."""
        type_, payload = self._frames[self._sent]
        seq = (self.next_seq + self._sent) & 0xFF
        self._sent += 1
        if self._sent <= self._ever_sent:
            self.retransmits += 1
        else:
            self._ever_sent = self._sent
        return encode_frame(type_, seq, payload)

    def acknowledge(self, next_seq: int) -> list[int]:
        """The board expects `next_seq` next: the types of the frames that it has taken since."""
        taken = (next_seq - self.next_seq) & 0xFF
        if taken > self._ever_sent:
            return []
        types = [self._frames.popleft()[0] for _ in range(taken)]
        self.next_seq = next_seq
        self._sent = max(0, self._sent - taken)
        self._ever_sent -= taken
        return types

    def go_back(self) -> None:
        """Send everything that is not acknowledged once more."""
        self._sent = 0

    def drop_unsent(self, but: Container[int]) -> None:
        """Forget the frames that were never sent, but for those of some types."""
        frames = list(self._frames)
        kept = [frame for frame in frames[self._ever_sent :] if frame[0] in but]
        self._frames = deque(frames[: self._ever_sent] + kept)

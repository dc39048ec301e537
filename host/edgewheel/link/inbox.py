"""What comes from the board, frame by frame, and how much of it was lost or broken on the way."""

from __future__ import annotations

from collections.abc import Iterator

from edgewheel.link.frames import Frame, FrameDecoder


class Inbox:
    """Takes bytes, gives frames; counts."""

    def __init__(self) -> None:
        self.bytes_heard = 0
        self.frames_heard = 0
        self.gaps = 0
        """Frames that the board numbered and that never came."""
        self._decoder = FrameDecoder()
        self._next_seq: int | None = None
        self._malformed = 0

    @property
    def bad_frames(self) -> int:
        """Frames whose check failed, or whose payload said nothing."""
        return self._decoder.bad_frames + self._malformed

    def feed(self, data: bytes) -> Iterator[Frame]:
        """The whole frames that these bytes complete."""
        self.bytes_heard += len(data)
        for frame in self._decoder.feed(data):
            self.frames_heard += 1
            self._count_gap(frame.seq)
            yield frame

    def malformed(self) -> None:
        """The payload of the last frame said nothing."""
        self._malformed += 1

    def _count_gap(self, seq: int) -> None:
        """Numbers left out are lost frames; one from behind came late or twice."""
        expected = self._next_seq
        missed = 0 if expected is None else (seq - expected) & 0xFF
        if missed < 0x80:
            self._next_seq = (seq + 1) & 0xFF
            self.gaps += missed

"""Controllers that speak only when they are asked."""

from __future__ import annotations

from dataclasses import dataclass

NS_PER_MS = 1_000_000


@dataclass(frozen=True)
class Request:
    """What a controller must be asked with, and how often; answered or not, never more often."""

    data: bytes
    every_ms: float


class Asker:
    """Says when to ask, and counts what was not answered."""

    def __init__(self, request: Request) -> None:
        self._request = request
        self._next_ns: int | None = None
        self._waiting = False
        self.asked = 0
        self.unanswered = 0

    def due(self, now_ns: int) -> list[bytes]:
        """The request, if it is time."""
        if self._next_ns is not None and now_ns < self._next_ns:
            return []
        self._next_ns = now_ns + round(self._request.every_ms * NS_PER_MS)
        self.unanswered += self._waiting
        self._waiting = True
        self.asked += 1
        return [self._request.data]

    def answered(self) -> None:
        """An answer has come."""
        self._waiting = False

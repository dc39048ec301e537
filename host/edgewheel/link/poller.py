"""POLL and its answers: when to ask, how long an answer takes, what it proves."""

from __future__ import annotations

EVERY_NS = 200_000_000
AGAIN_NS = 50_000_000  # a POLL without an answer is said again after this, or two round trips


class Poller:
    """Asks with a token that the board gives back in STATUS.

    A STATUS with a token was made after everything sent before the POLL had arrived. That is how a
    report of a hole is told from one that is older than the repeat that fills it.
    """

    def __init__(self, now_ns: int) -> None:
        self.due_ns = now_ns
        self.rtt_ns = 0  # of the last answer; 0 before the first
        self._token = 0
        self._asked_ns: int | None = None
        self._proof: int | None = None

    def ask(self, now_ns: int) -> int:
        """The token to ask with now; the same one again if the last has not been answered."""
        if self._asked_ns is None or self.wants_proof:
            self._token += 1
            self._asked_ns = now_ns
        again_ns = 2 * self.rtt_ns or AGAIN_NS
        self.due_ns = now_ns + min(max(again_ns, AGAIN_NS // 5), AGAIN_NS)
        return self._token

    def hear(self, token: int, now_ns: int) -> int | None:
        """A STATUS with this token has come; when it was asked for, if it is the first answer."""
        asked_ns = self._asked_ns
        if token != self._token or asked_ns is None:
            return None
        self.rtt_ns = max(1, now_ns - asked_ns)
        self.due_ns = asked_ns + EVERY_NS
        self._asked_ns = None
        return asked_ns

    # Proof that the board has seen a repeat

    @property
    def wants_proof(self) -> bool:
        """Is a POLL due behind the first frame that is sent again?"""
        return self._proof == self._token + 1

    def repeat(self) -> None:
        """Frames are sent again from now on: reports of a hole from before prove nothing."""
        self._proof = self._token + 1

    def progress(self) -> None:
        """The hole is filled."""
        self._proof = None

    def proves(self, token: int) -> bool:
        """Was a STATUS with this token made after the last repeat?"""
        return self._proof is None or token >= self._proof

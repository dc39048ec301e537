"""The true crank angle and speed at any tick of a run: what reports and pulses are held against."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction

from edgewheel.motion.motion import Motion, Placed
from edgewheel.motion.segment import DEG_PER_S_PER_RPM

CYCLE_DEG = 720


@dataclass(frozen=True)
class _Piece:
    """A segment in floats: good to a millionth of a degree, and quick."""

    placed: Placed
    begin_s: float
    begin_deg: float
    speed: float
    rate: float
    seconds: float


class Truth:
    """The crank of a motion, by seconds after table tick 0."""

    def __init__(self, motion: Motion) -> None:
        self.follow(motion)

    def follow(self, motion: Motion) -> None:
        """Hold everything from now on against another motion: a live one that changed course."""
        self._motion = motion
        self._pieces: list[_Piece] = []
        self._begins_s: list[float] = []

    def angle_deg(self, seconds: float) -> float:
        """Crank degrees in [0, 720)."""
        piece = self._piece(seconds)
        if piece is None:
            return float(self._motion.start_deg)
        within_s = min(max(seconds - piece.begin_s, 0.0), piece.seconds)
        turned = (piece.speed + piece.rate * within_s / 2) * within_s
        mean_deg = (piece.begin_deg + turned) % CYCLE_DEG
        ripple = piece.placed.segment.ripple
        if ripple is not None:
            mean_deg -= ripple.lag_deg(Fraction(mean_deg))
        return mean_deg % CYCLE_DEG

    def rpm(self, seconds: float) -> float:
        """Mean speed, ripple left out; 0 before the start and after the end."""
        piece = self._piece(seconds)
        if piece is None or not 0 <= seconds - piece.begin_s <= piece.seconds:
            return 0.0
        return (piece.speed + piece.rate * (seconds - piece.begin_s)) / DEG_PER_S_PER_RPM

    def _piece(self, seconds: float) -> _Piece | None:
        while len(self._pieces) < len(self._motion):
            self._add(self._motion[len(self._pieces)])
        index = max(bisect_right(self._begins_s, seconds) - 1, 0)
        return self._pieces[index] if self._pieces else None

    def _add(self, placed: Placed) -> None:
        segment = placed.segment
        self._begins_s.append(float(placed.begin_s))
        self._pieces.append(
            _Piece(
                placed,
                float(placed.begin_s),
                float(placed.begin_mean_deg % CYCLE_DEG),
                float(segment.rpm_begin * DEG_PER_S_PER_RPM),
                float(segment.rpm_per_s * DEG_PER_S_PER_RPM),
                float(segment.seconds),
            )
        )


def signed_deg(degrees: float, period: float = CYCLE_DEG) -> float:
    """An angle brought into [-period / 2, period / 2)."""
    return (degrees + period / 2) % period - period / 2

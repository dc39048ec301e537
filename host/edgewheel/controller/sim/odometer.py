"""How far the engine has turned, and how fast, as far as the decoder knows."""

from __future__ import annotations

import math
from collections import deque

from edgewheel.controller.sim.decoder import NO_TOOTH, Decoder

CYCLE_DEG = 720.0
TURN_DEG = 360.0


class Odometer:
    """The absolute angle: it only grows, and while the position is known it is right modulo its
    period.

    `deg` is the angle of the last tooth, `base_deg` that of the reference before it. While the
    position is not known every tooth counts as one pitch.
    """

    def __init__(self, decoder: Decoder, average_teeth: int, longest_wait: int) -> None:
        self.deg = 0.0
        self.base_deg = 0.0
        self.history: deque[tuple[int, float]] = deque(maxlen=average_teeth + 1)
        """(tick, deg) of the last teeth, over which speed is averaged."""
        self._decoder = decoder
        self._longest_wait = longest_wait
        self._following = False

    def take_news(self, wrapped: bool) -> float:
        """The decoder's position is not what it was; `wrapped` if its tooth is the reference.

        Returns the degrees by which the absolute angle was set right, so that what was planned by
        it can follow.
        """
        decoder = self._decoder
        was_following, self._following = self._following, decoder.number != NO_TOOTH
        if decoder.jumped:
            decoder.jumped = False
            self.history.clear()
        if not self._following:
            return 0.0
        if not was_following:
            self.base_deg = CYCLE_DEG * math.ceil(self.deg / CYCLE_DEG)
        elif wrapped:
            self.base_deg += decoder.period_deg
        shift_deg = self._turn_shift()
        self.base_deg += shift_deg
        self.deg = self.base_deg + decoder.angles[decoder.number]
        return shift_deg

    def stand(self) -> None:
        """The engine stands: there is no speed."""
        self.history.clear()

    def mean_pace(self) -> float:
        """Ticks a degree over the averaged teeth."""
        if len(self.history) > 1:
            (first_tick, first_deg), (tick, deg) = self.history[0], self.history[-1]
            if deg > first_deg:
                return (tick - first_tick) / (deg - first_deg)
        return self._decoder.pace

    def pace_at(self, tick: int) -> float:
        """The same, but no faster than the tooth that is still to come allows; 0 if unknown.

        That tooth may have come already, and wait in the interrupt queue for `longest_wait` ticks.
        """
        decoder, pace = self._decoder, self.mean_pace()
        ahead_deg = decoder.ahead[decoder.number] or decoder.pitch_deg
        overdue = tick - decoder.tick - self._longest_wait
        return max(pace, overdue / ahead_deg) if pace else 0.0

    def _turn_shift(self) -> float:
        turn = self._decoder.turn
        if turn is None:
            return 0.0
        right = self.base_deg % CYCLE_DEG == turn * TURN_DEG
        if not right:
            self.history.clear()
        return 0.0 if right else TURN_DEG

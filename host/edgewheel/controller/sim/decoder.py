"""What all decoders have in common: following a pattern of teeth, and losing it.

A decoder is given teeth (edges of the crank input) and marks (edges of the cam input) that came
through the interrupt queue. It says which tooth of its pattern a tooth is, or `NO_TOOTH`.
Seeking, it waits for the irregularity; following, it knows the next tooth and what may be wrong
with it; in sync, it has seen enough to be believed.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from enum import StrEnum

from edgewheel.controller.sim.phase import CamPhase
from edgewheel.controller.sim.settings import SyncSettings

NO_TOOTH = -1


class Sync(StrEnum):
    """How much of the engine's position is known."""

    NONE = "none"
    FIRING = "firing"  # when a cylinder fires, not which
    CRANK = "crank"  # the angle within a turn
    FULL = "full"  # the angle within a cycle of two turns


class Decoder(ABC):
    """The state of decoding; the controller reads it after every edge.

    `angles` (n,) degrees of the teeth after the reference, `ahead` (n,) degrees to the next one;
    both have one more entry at the end, which NO_TOOTH points to. `pace` is ticks a degree over
    the last tooth period. `news` is set when sync or turn changed, `jumped` when a tooth was
    taken for another than the next; whoever reads them clears them.
    """

    pitch_deg: float
    """The pitch that a tooth is taken for while its place is unknown."""
    landmark: str
    """What is sought, for people; among what, is `edges`."""
    edges = "teeth"

    def __init__(self, angles: Sequence[float], period_deg: float, settings: SyncSettings) -> None:
        self.count = len(angles)
        self.period_deg = period_deg
        following = (*angles[1:], period_deg + angles[0])
        spans = [b - a for a, b in zip(angles, following, strict=True)]
        self.angles = (*angles, 0.0)
        self.ahead = (*spans, 0.0)
        self.per_deg = tuple(1 / spans[i - 1] for i in range(self.count))
        self.settings = settings
        self.number = NO_TOOTH
        self.tick = 0
        self.pace = 0.0
        self.in_sync = False
        self.losses = 0
        self.reason = "none"
        self.news = False
        self.jumped = False
        self._teeth = 0
        self._sought = 0
        self._ordinary = 0
        self._references = 0
        self._errors = 0
        self._locked = False

    @property
    def sync(self) -> Sync:
        """How much is known now."""
        if not self.in_sync:
            return Sync.NONE
        return Sync.FULL if self.period_deg == 720 else Sync.CRANK

    @property
    def turn(self) -> int | None:
        """The turn of the cycle, 0 or 1, of a wheel that repeats every turn; None if unknown."""
        return None

    @abstractmethod
    def tooth(self, tick: int, level: int) -> int:
        """An edge of the crank input, captured at `tick`: its number, or NO_TOOTH."""

    def mark(self, tick: int, level: int) -> None:  # noqa: B027
        """An edge of the cam input, captured at `tick`. Not every wheel has one."""

    def cam_level(self, level: int) -> None:  # noqa: B027
        """The cam input has this level from now on."""

    def overrun(self) -> None:
        """An edge found no room in the interrupt queue, and the program has noticed."""
        self.lose("interrupt queue overrun")
        self.reason = "interrupt queue overrun"

    def stall(self) -> None:
        """No tooth for `stall_ms`: the engine stands, everything begins anew."""
        self.lose(f"no teeth for {self.settings.stall_ms:g} ms")
        self._teeth = 0
        self.pace = 0.0
        self._locked = False

    def lose(self, reason: str) -> None:
        """Give the position up."""
        if self.number != NO_TOOTH:
            self.reason = reason
            self.news = True
        if self.in_sync:
            self.losses += 1
            self.in_sync = False
            self._locked = self.settings.resync == "after_stop"
        self.number = NO_TOOTH
        self._sought = self._ordinary = self._references = self._errors = 0

    def _mistake(self, reason: str, carry_on_as: int) -> int:
        """The tooth just taken contradicts the pattern: forgive it, or lose the position."""
        self._errors += 1
        if not self.in_sync or self._errors > self.settings.errors_allowed:
            self.lose(reason)
        else:
            self.reason = reason
            self.number = carry_on_as
            self.news = self.jumped = True
            if carry_on_as == 0:
                self._reference_seen()
        return self.number

    def _seek_on(self) -> int:
        """The tooth just come is not what is sought; say so once that is strange."""
        self._ordinary += 1
        self._sought += 1
        if self._sought == 2 * self.count + 2:
            self.reason = f"no {self.landmark} in {self._sought} {self.edges}"
        return NO_TOOTH

    def _follow_from(self, number: int) -> int:
        """Take the tooth just come as `number`, and the pattern from there."""
        if self._locked:
            return NO_TOOTH
        self.number = number
        self.news = self.jumped = True
        self._reference_seen()
        return number

    def _reference_seen(self) -> None:
        """Where the pattern is found as it must be, once a period or once a window."""
        self._references += 1
        if not self.in_sync and self._references >= self.settings.gaps_wanted:
            self.in_sync = True
            self.news = True


class PacedDecoder(Decoder):
    """Follows teeth by the ratio of their pace (ticks a degree) to the pace of the tooth before.

    `low` and `high` (n,) are the limits of that ratio for the period that ends at each tooth.
    """

    low: tuple[float, ...]
    high: tuple[float, ...]

    def __init__(
        self,
        angles: Sequence[float],
        period_deg: float,
        settings: SyncSettings,
        phase: CamPhase | None = None,
    ) -> None:
        super().__init__(angles, period_deg, settings)
        self.phase = phase
        self._cam_level = 1

    @property
    def sync(self) -> Sync:
        known = super().sync
        return Sync.FULL if known is Sync.CRANK and self.turn is not None else known

    @property
    def turn(self) -> int | None:
        return self.phase.turn if self.phase else None

    def tooth(self, tick: int, level: int) -> int:
        period = tick - self.tick
        self.tick = tick
        number = self.number
        if number < 0:
            return self._seek(period)
        number += 1
        if number == self.count:
            number = 0
        pace = period * self.per_deg[number]
        ratio = pace / self.pace
        if not self.low[number] <= ratio <= self.high[number]:
            return self._unexpected(number, period, ratio)
        self.pace = pace
        self.number = number
        if number == 0:
            self._errors = 0
            self._reference_seen()
        return number

    def mark(self, tick: int, level: int) -> None:
        if self.phase and self.in_sync:
            angle_deg = self.angles[self.number] + (tick - self.tick) / self.pace
            self._phase_result(self.phase.turn, self.phase.cam_edge(angle_deg))

    def cam_level(self, level: int) -> None:
        self._cam_level = level

    def lose(self, reason: str) -> None:
        super().lose(reason)
        if self.phase:
            self.phase.forget()

    def _reference_seen(self) -> None:
        super()._reference_seen()
        if self.phase and self.in_sync:
            turn = self.phase.turn
            lost = self.phase.begin_turn(self._cam_level)
            self._phase_result(None if turn is None else 1 - turn, lost)

    def _phase_result(self, expected_turn: int | None, lost: str | None) -> None:
        assert self.phase
        if lost:
            self.losses += 1
            self.reason = lost
        elif self.phase.turn is None and self.phase.complaint:
            self.reason = self.phase.complaint
        self.news |= self.phase.turn != expected_turn

    def _seek(self, period: int) -> int:
        self._teeth += 1
        if self._teeth <= self.settings.ignored_teeth + 1:
            return NO_TOOTH
        pace_before, self.pace = self.pace, period / self.pitch_deg
        if not pace_before:
            return NO_TOOTH
        if not self._is_reference(self.pace / pace_before):
            return self._seek_on()
        enough = self._ordinary >= self.settings.teeth_wanted
        self._ordinary = 0
        self.pace = period * self.per_deg[0]
        return self._follow_from(0) if enough else NO_TOOTH

    @abstractmethod
    def _is_reference(self, ratio: float) -> bool:
        """Seeking: is this tooth the reference? `ratio` is its period over the last one."""

    @abstractmethod
    def _unexpected(self, number: int, period: int, ratio: float) -> int:
        """Following: the period that ends at tooth `number` is outside its limits."""

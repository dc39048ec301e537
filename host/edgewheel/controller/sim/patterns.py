"""Decoders that follow teeth: missing, added, even with a mark, one a cylinder."""

from __future__ import annotations

from edgewheel.controller.sim.decoder import NO_TOOTH, PacedDecoder, Sync
from edgewheel.controller.sim.phase import CamPhase
from edgewheel.controller.sim.settings import (
    AddedTooth,
    EvenTeeth,
    MissingTeeth,
    SyncSettings,
    ToothPerCylinder,
)

TURN_DEG = {"crank": 360.0, "cam": 720.0}


class MissingToothDecoder(PacedDecoder):
    """Evenly spaced teeth with one gap; the reference is the first tooth after it."""

    landmark = "gap"

    def __init__(self, wheel: MissingTeeth, sync: SyncSettings, phase: CamPhase) -> None:
        period_deg = TURN_DEG[wheel.shaft]
        teeth = wheel.pitches - wheel.missing
        self.pitch_deg = period_deg / wheel.pitches
        angles = [k * self.pitch_deg for k in range(teeth)]
        super().__init__(angles, period_deg, sync, phase if period_deg == 360 else None)
        self._gap = (wheel.gap_ratio_low, wheel.gap_ratio_high)
        highest = wheel.tooth_ratio_high
        gap_pitches = wheel.missing + 1
        ordinary = (wheel.gap_ratio_low if highest is None else highest,) * (teeth - 1)
        self.low = (wheel.gap_ratio_low / gap_pitches, *(wheel.tooth_ratio_low,) * (teeth - 1))
        self.high = (wheel.gap_ratio_high / gap_pitches, *ordinary)

    def _is_reference(self, ratio: float) -> bool:
        return self._gap[0] <= ratio <= self._gap[1]

    def _unexpected(self, number: int, period: int, ratio: float) -> int:
        plain_ratio = period / self.pitch_deg / self.pace
        self.pace = period * self.per_deg[number]
        if number and self._is_reference(plain_ratio):
            self.pace = period * self.per_deg[0]
            return self._mistake(f"gap after tooth {number} of {self.count}", carry_on_as=0)
        if not number and plain_ratio < self._gap[0]:
            self.pace = period / self.pitch_deg
            return self._mistake(f"no gap after tooth {self.count}", carry_on_as=self.count - 1)
        name = f"tooth {number + 1}" if number else "the gap"
        return self._mistake(f"time ratio {plain_ratio:.2f} at {name} out of limits", number)


class AddedToothDecoder(PacedDecoder):
    """Even teeth, one more in the last pitch; the reference ends the short pair."""

    landmark = "added tooth"

    def __init__(self, wheel: AddedTooth, sync: SyncSettings, phase: CamPhase) -> None:
        period_deg = TURN_DEG[wheel.shaft]
        self.pitch_deg = period_deg / wheel.teeth
        share = wheel.added_at_percent / 100
        angles = [k * self.pitch_deg for k in range(wheel.teeth)]
        angles.append(angles[-1] + share * self.pitch_deg)
        super().__init__(angles, period_deg, sync, phase if period_deg == 360 else None)
        short = wheel.short_ratio_high
        ordinary = (short, wheel.tooth_ratio_high)
        limits = [(0.0, short / (1 - share)), *[ordinary] * (wheel.teeth - 1), (0.0, short / share)]
        self.low = tuple(low for low, _ in limits)
        self.high = tuple(high for _, high in limits)
        self._short = short
        self._regular_pace = 0.0
        self._first_of_pair = 0.0

    def _is_reference(self, ratio: float) -> bool:
        pace, regular = self.pace, self._regular_pace
        if not regular or pace >= self._short * regular:
            self._regular_pace, self._first_of_pair = pace, 0.0
            return False
        if not self._first_of_pair:
            self._first_of_pair = pace
            return False
        one_pitch = self._first_of_pair + pace <= regular * (2 - self._short)
        self._regular_pace, self._first_of_pair = self._first_of_pair + pace, 0.0
        return one_pitch

    def _unexpected(self, number: int, period: int, ratio: float) -> int:
        self.pace = period / self.pitch_deg
        if number == 0:
            return self._mistake("no tooth after the added one", number)
        if number == self.count - 1:
            return self._mistake(f"no added tooth after tooth {self.count - 1}", number)
        if ratio < self.low[number]:
            return self._mistake(f"added tooth after tooth {number} of {self.count - 1}", number)
        return self._mistake(f"time ratio {ratio:.2f} at tooth {number + 1} out of limits", number)

    def lose(self, reason: str) -> None:
        super().lose(reason)
        self._regular_pace = self._first_of_pair = 0.0


class EvenTeethDecoder(PacedDecoder):
    """Even teeth, counted between marks; the reference is the first tooth after one."""

    landmark = "mark"

    def __init__(self, wheel: EvenTeeth, sync: SyncSettings) -> None:
        period_deg = TURN_DEG[wheel.mark_every]
        self.pitch_deg = period_deg / wheel.teeth
        angles = [k * self.pitch_deg for k in range(wheel.teeth)]
        super().__init__(angles, period_deg, sync)
        self.low = (wheel.tooth_ratio_low,) * wheel.teeth
        self.high = (wheel.tooth_ratio_high,) * wheel.teeth
        self._marked = False

    def mark(self, tick: int, level: int) -> None:
        self._marked = True

    def tooth(self, tick: int, level: int) -> int:
        if self._marked != (self.number == self.count - 1) and self.number != NO_TOOTH:
            return self._miscounted(tick)
        number = super().tooth(tick, level)
        self._marked = False
        return number

    def _miscounted(self, tick: int) -> int:
        self.pace = (tick - self.tick) / self.pitch_deg
        self.tick = tick
        if self._marked:
            self._marked = False
            counted = f"tooth count {self.number + 1} of {self.count} between marks"
            return self._mistake(counted, carry_on_as=0)
        return self._mistake(f"no mark after {self.count} teeth", carry_on_as=0)

    def _is_reference(self, ratio: float) -> bool:
        return self._marked

    def _unexpected(self, number: int, period: int, ratio: float) -> int:
        self.pace = period / self.pitch_deg
        return self._mistake(f"time ratio {ratio:.2f} at tooth {number + 1} out of limits", number)


class ToothPerCylinderDecoder(PacedDecoder):
    """One tooth a cylinder: every tooth is the reference of its firing."""

    landmark = "steady tooth"

    def __init__(self, wheel: ToothPerCylinder, sync: SyncSettings) -> None:
        self.pitch_deg = 720 / wheel.cylinders
        super().__init__([0.0], self.pitch_deg, sync)
        self.low = (wheel.tooth_ratio_low,)
        self.high = (wheel.tooth_ratio_high,)

    @property
    def sync(self) -> Sync:
        return Sync.FIRING if self.in_sync else Sync.NONE

    def _is_reference(self, ratio: float) -> bool:
        return self._ordinary >= self.settings.teeth_wanted

    def _unexpected(self, number: int, period: int, ratio: float) -> int:
        self.pace = period / self.pitch_deg
        return self._mistake(f"time ratio {ratio:.2f} between teeth out of limits", number)

"""Faults of the wheel itself: teeth that are gone, bent, worn or eccentric, a track that is turned.

They are edits of the angle table, the same in every period, so window and repetition are none of
theirs: a tooth that is only sometimes late or missing is `late_tooth` or `dropped_tooth`. An edge
is changed where its tooth is; a VR sensor's crossing in a space also where the next tooth is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Annotated

from edgewheel.fault.fields import Bounds, ToothNumbers, TrackName
from edgewheel.fault.model import Complaint
from edgewheel.wheel.angles import Passing
from edgewheel.wheel.model import Sensor, Wheel

MICRODEG = 1_000_000
"""Eccentric angles are rounded to this part of a degree, so that they stay exact fractions."""

Teeth = Annotated[tuple[int, ...], ToothNumbers()]
Name = Annotated[str, TrackName()]


def _hit(wheel: Wheel, one: Passing, track: str, teeth: tuple[int, ...] = ()) -> bool:
    """Whether a tooth that passes is meant."""
    on = wheel.tracks[one.track]
    return on.name == track and (not teeth or one.passage % len(on.teeth) + 1 in teeth)


@dataclass(frozen=True)
class MissingTooth:
    """The teeth are not on the wheel: broken off, or filled in on a wheel of slots."""

    track: Name
    teeth: Teeth

    def complaint(self) -> Complaint | None:
        """Which teeth."""
        remedy = "Write 'teeth: [17]' with the numbers of the wheel file."
        return None if self.teeth else ("no tooth is named", remedy)

    def reshape(self, wheel: Wheel, metal: Sequence[Passing]) -> list[Passing]:
        """The metal without them."""
        return [one for one in metal if not _hit(wheel, one, self.track, self.teeth)]


@dataclass(frozen=True)
class BentTooth:
    """The teeth stand `by_deg` crank degrees late (early if negative), as wide as before."""

    track: Name
    teeth: Teeth
    by_deg: Annotated[Fraction, Bounds(-180, 180)]

    def complaint(self) -> Complaint | None:
        """Which teeth."""
        remedy = "Write 'teeth: [17]' with the numbers of the wheel file."
        return None if self.teeth else ("no tooth is named", remedy)

    def reshape(self, wheel: Wheel, metal: Sequence[Passing]) -> list[Passing]:
        """The metal with them moved."""
        return [
            replace(one, begin=one.begin + self.by_deg, end=one.end + self.by_deg)
            if _hit(wheel, one, self.track, self.teeth)
            else one
            for one in metal
        ]


@dataclass(frozen=True)
class WornTeeth:
    """Teeth begin `leading_deg` late and end `trailing_deg` early, in crank degrees.

    Negative numbers are teeth that have grown, as by swarf on a magnetic sensor. No teeth named:
    all of the track.
    """

    track: Name
    leading_deg: Annotated[Fraction, Bounds(-90, 90)] = Fraction(0)
    trailing_deg: Annotated[Fraction, Bounds(-90, 90)] = Fraction(0)
    teeth: Teeth = ()

    def complaint(self) -> Complaint | None:
        """Whether anything is worn."""
        if self.leading_deg or self.trailing_deg:
            return None
        return "nothing is worn", "Write leading_deg, trailing_deg or both."

    def reshape(self, wheel: Wheel, metal: Sequence[Passing]) -> list[Passing]:
        """The metal with their edges moved."""
        return [
            replace(one, begin=one.begin + self.leading_deg, end=one.end - self.trailing_deg)
            if _hit(wheel, one, self.track, self.teeth)
            else one
            for one in metal
        ]


@dataclass(frozen=True)
class EccentricWheel:
    """The wheel's centre lies `offset_percent` of its radius off its axis, towards `towards_deg`.

    Degrees of the track's own shaft. An edge that stands at a on the wheel passes at
    a + atan2(e sin(t - a), 1 + e cos(t - a)), e the offset and t its direction (plane
    trigonometry of the edge seen from the axis), rounded to a millionth of a degree.
    """

    track: Name
    offset_percent: Annotated[Fraction, Bounds(above=0, maximum=50)]
    towards_deg: Annotated[Fraction, Bounds(0, 360)] = Fraction(0)

    def reshape(self, wheel: Wheel, metal: Sequence[Passing]) -> list[Passing]:
        """The metal as seen from the axis."""
        scale = wheel.track(self.track).crank_degrees_per_turn / 360
        return [
            replace(one, begin=self._seen(one.begin, scale), end=self._seen(one.end, scale))
            if _hit(wheel, one, self.track)
            else one
            for one in metal
        ]

    def _seen(self, crank_deg: Fraction, scale: Fraction) -> Fraction:
        offset = float(self.offset_percent) / 100
        away = math.radians(self.towards_deg - crank_deg / scale)
        by_deg = math.degrees(math.atan2(offset * math.sin(away), 1 + offset * math.cos(away)))
        return crank_deg + scale * Fraction(round(by_deg * MICRODEG), MICRODEG)


@dataclass(frozen=True)
class ShiftedTrack:
    """The whole track stands `by_deg` crank degrees late (early if negative).

    Of a cam belt that has jumped, or a wheel that was put on turned.
    """

    track: Name
    by_deg: Annotated[Fraction, Bounds(-360, 360)]

    def reshape(self, wheel: Wheel, metal: Sequence[Passing]) -> list[Passing]:
        """The metal turned."""
        return [
            replace(one, begin=one.begin + self.by_deg, end=one.end + self.by_deg)
            if _hit(wheel, one, self.track)
            else one
            for one in metal
        ]


@dataclass(frozen=True)
class LeadsReversed:
    """The two leads of a VR sensor are swapped, so its voltage has the opposite sign.

    The falling crossing, by which such inputs time, moves from the teeth's centres to the centres
    of the spaces, and of the gap: no two of its periods beside a gap are what they were.
    """

    track: Name

    def connect(self, wheel: Wheel, sensors: Sequence[Sensor]) -> list[Sensor]:
        """The sensors with this one's sign turned over."""
        return [
            replace(sensor, metal="low" if sensor.metal == "high" else "high")
            if track.name == self.track
            else sensor
            for track, sensor in zip(wheel.tracks, sensors, strict=True)
        ]

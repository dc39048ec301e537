"""The level table: what the sensors make of metal, over one period of the wheel, in degrees."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from edgewheel.wheel.angles import AngleTable, angle_table
from edgewheel.wheel.model import Sensor, Wheel

US_PER_S = 1_000_000

Crossing = tuple[Fraction, int]
"""Crank degrees in [0, period) and the level from there on, turning forward."""


@dataclass(frozen=True)
class PulseTrack:
    """A direction sensor's track: each edge starts a pulse of a width that tells the way."""

    track: int
    forward_s: Fraction
    reverse_s: Fraction


@dataclass(frozen=True)
class LevelTable:
    """n level changes at the controller's pins in one period, turning forward.

    `angles` (n,) crank degrees ascending in [0, period); `track` (n,) indices into `tracks`;
    `level` (n,) 0 or 1; `initial` gives each track's level just before angle 0. For a track in
    `pulses` only the starts of its pulses are here, since their ends are a matter of time.
    """

    period: int
    tracks: tuple[str, ...]
    angles: tuple[Fraction, ...]
    track: tuple[int, ...]
    level: tuple[int, ...]
    initial: tuple[int, ...]
    pulses: tuple[PulseTrack, ...] = ()

    def __len__(self) -> int:
        return len(self.angles)


def wheel_levels(wheel: Wheel) -> LevelTable:
    """What the controller's pins see of a sound wheel."""
    return level_table(angle_table(wheel), tuple(track.sensor for track in wheel.tracks))


def level_table(metal: AngleTable, sensors: tuple[Sensor, ...]) -> LevelTable:
    """What each track's sensor makes of its metal; `sensors` in the order of the table's tracks."""
    crossings: list[tuple[Fraction, int, int]] = []
    initial: list[int] = []
    for number, sensor in enumerate(sensors):
        edges = [
            (angle, comes)
            for angle, track, comes in zip(metal.angles, metal.track, metal.metal, strict=True)
            if track == number
        ]
        track_crossings, before = _sensed(edges, metal.before[number], sensor, metal.period)
        crossings += [(angle, number, level) for angle, level in track_crossings]
        initial.append(before)
    crossings.sort()
    return LevelTable(
        metal.period,
        metal.tracks,
        tuple(angle for angle, _, _ in crossings),
        tuple(track for _, track, _ in crossings),
        tuple(level for _, _, level in crossings),
        tuple(initial),
        tuple(_pulse_tracks(sensors)),
    )


def _sensed(
    edges: list[tuple[Fraction, bool]], before: bool, sensor: Sensor, period: int
) -> tuple[list[Crossing], int]:
    """A track's level changes and its level before angle 0."""
    low = sensor.metal == "low"
    if sensor.direction is not None:
        return [(angle, int(not low)) for angle, comes in edges if comes], int(low)
    if sensor.kind == "vr":
        crossings = _zero_crossings(edges, period)
        before = bool(1 - crossings[0][1]) if crossings else before
    else:
        crossings = [(angle, int(comes)) for angle, comes in edges]
    return [(angle, level ^ low) for angle, level in crossings], int(before ^ low)


def _zero_crossings(edges: list[tuple[Fraction, bool]], period: int) -> list[Crossing]:
    """The sign of a VR sensor's voltage: positive while metal nears, negative while it leaves.

    The voltage is the negative rate of change of flux (Faraday's law), and flux is greatest at a
    tooth's centre and least at the centre of a space, so those are its zero crossings.
    """
    crossings = []
    for (begin, comes), (end, _) in zip(edges, edges[1:] + edges[:1], strict=True):
        centre = (begin + (end - begin) % period / 2) % period
        crossings.append((centre, 0 if comes else 1))
    return sorted(crossings)


def _pulse_tracks(sensors: tuple[Sensor, ...]) -> list[PulseTrack]:
    return [
        PulseTrack(
            number, sensor.direction.forward_us / US_PER_S, sensor.direction.reverse_us / US_PER_S
        )
        for number, sensor in enumerate(sensors)
        if sensor.direction is not None
    ]

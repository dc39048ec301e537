"""The level table: what the sensors make of metal, over one period of the wheel, in degrees."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

from edgewheel.wheel.angles import AngleTable, angle_table
from edgewheel.wheel.model import TURN, Amplitude, Sensor, Wheel
from edgewheel.wheel.pins import zero_crossing

US_PER_S = 1_000_000

Crossing = tuple[Fraction, int, int]
"""Crank degrees in [0, period), the level from there on, turning forward, and the passage."""

MetalEdge = tuple[Fraction, bool, int]
"""Crank degrees in [0, period), whether metal comes, and the passage."""


@dataclass(frozen=True)
class PulseTrack:
    """A direction sensor's track: each edge starts a pulse of a width that tells the way."""

    track: int
    forward_s: Fraction
    reverse_s: Fraction


@dataclass(frozen=True)
class VrTrack:
    """A VR sensor's track: its level is the sign of a voltage, which turns over when the wheel
    turns back, and which is not seen below a threshold if `amplitude` is given.

    `turn_deg` is one turn of its shaft in crank degrees, `nears` the level while metal nears.
    """

    track: int
    turn_deg: Fraction
    amplitude: Amplitude | None = None
    nears: int = 1


@dataclass(frozen=True)
class LevelTable:
    """n level changes at the controller's pins in one period, turning forward.

    `angles` (n,) crank degrees ascending in [0, period); `track` (n,) indices into `tracks`;
    `level` (n,) 0 or 1; `initial` gives each track's level just before angle 0. For a track in
    `pulses` only the starts of its pulses are here, since their ends are a matter of time.

    `passage` (n,) counts the teeth that pass on each track, from 0 at angle 0, to which an edge
    belongs; `teeth` says for each track how many teeth a turn of its shaft has, `passages` how many
    pass in a period, both on the sound wheel.

    `vr` are the tracks of VR sensors, `cams` those of a shaft whose timing a motion may vary.
    """

    period: int
    tracks: tuple[str, ...]
    angles: tuple[Fraction, ...]
    track: tuple[int, ...]
    level: tuple[int, ...]
    initial: tuple[int, ...]
    pulses: tuple[PulseTrack, ...] = ()
    passage: tuple[int, ...] = ()
    passages: tuple[int, ...] = ()
    teeth: tuple[int, ...] = ()
    vr: tuple[VrTrack, ...] = ()
    cams: tuple[int, ...] = ()

    def __len__(self) -> int:
        return len(self.angles)

    def without_amplitudes(self) -> LevelTable:
        """The same as an input sees it that no signal is too weak for."""
        return replace(self, vr=tuple(replace(one, amplitude=None) for one in self.vr))

    def only(self, tracks: Iterable[int]) -> LevelTable:
        """The level changes of some tracks; the numbers of tracks stay."""
        kept = set(tracks)
        rows = [row for row, track in enumerate(self.track) if track in kept]
        return replace(
            self,
            angles=tuple(self.angles[row] for row in rows),
            track=tuple(self.track[row] for row in rows),
            level=tuple(self.level[row] for row in rows),
            passage=tuple(self.passage[row] for row in rows),
            pulses=tuple(one for one in self.pulses if one.track in kept),
            vr=tuple(one for one in self.vr if one.track in kept),
        )


def wheel_levels(wheel: Wheel) -> LevelTable:
    """What the controller's pins see of a sound wheel."""
    return level_table(angle_table(wheel), tuple(track.sensor for track in wheel.tracks))


def level_table(metal: AngleTable, sensors: tuple[Sensor, ...]) -> LevelTable:
    """What each track's sensor makes of its metal; `sensors` in the order of the table's tracks."""
    crossings: list[tuple[Fraction, int, int, int]] = []
    initial: list[int] = []
    for number, sensor in enumerate(sensors):
        edges = [
            (angle, comes, passage)
            for angle, track, comes, passage in zip(
                metal.angles, metal.track, metal.metal, metal.passage, strict=True
            )
            if track == number
        ]
        track_crossings, before = _sensed(edges, metal, number, sensor)
        crossings += [(angle, number, level, passage) for angle, level, passage in track_crossings]
        initial.append(before)
    crossings.sort()
    return LevelTable(
        metal.period,
        metal.tracks,
        tuple(angle for angle, _, _, _ in crossings),
        tuple(track for _, track, _, _ in crossings),
        tuple(level for _, _, level, _ in crossings),
        tuple(initial),
        tuple(_pulse_tracks(sensors)),
        tuple(passage for _, _, _, passage in crossings),
        metal.passages,
        metal.teeth,
        tuple(_vr_tracks(metal, sensors)),
        tuple(number for number in range(len(sensors)) if _turn_deg(metal, number) != TURN),
    )


def _sensed(
    edges: list[MetalEdge], metal: AngleTable, number: int, sensor: Sensor
) -> tuple[list[Crossing], int]:
    """A track's level changes and its level before angle 0."""
    low = sensor.metal == "low"
    before = metal.before[number]
    if sensor.direction is not None:
        starts = [(angle, int(not low), passage) for angle, comes, passage in edges if comes]
        return starts, int(low)
    if sensor.kind == "vr":
        crossings = _zero_crossings(edges, metal.period, metal.passages[number])
        before = bool(1 - crossings[0][1]) if crossings else before
    else:
        crossings = [(angle, int(comes), passage) for angle, comes, passage in edges]
    turned = [(angle, level ^ low, passage) for angle, level, passage in crossings]
    return turned, int(before ^ low)


def _zero_crossings(edges: list[MetalEdge], period: int, passages: int) -> list[Crossing]:
    """The sign of a VR sensor's voltage: positive while metal nears, negative while it leaves."""
    crossings = []
    for (begin, comes, passage), (end, _, _) in zip(edges, edges[1:] + edges[:1], strict=True):
        behind = begin + (end - begin) % period
        cycle, angle = divmod(zero_crossing(begin, behind), period)
        crossings.append((angle, 0 if comes else 1, passage - int(cycle) * passages))
    return sorted(crossings)


def _pulse_tracks(sensors: tuple[Sensor, ...]) -> list[PulseTrack]:
    return [
        PulseTrack(
            number, sensor.direction.forward_us / US_PER_S, sensor.direction.reverse_us / US_PER_S
        )
        for number, sensor in enumerate(sensors)
        if sensor.direction is not None
    ]


def _vr_tracks(metal: AngleTable, sensors: tuple[Sensor, ...]) -> list[VrTrack]:
    return [
        VrTrack(
            number,
            _turn_deg(metal, number),
            _judged(sensor.amplitude),
            nears=int(sensor.metal == "high"),
        )
        for number, sensor in enumerate(sensors)
        if sensor.kind == "vr"
    ]


def _judged(amplitude: Amplitude | None) -> Amplitude | None:
    """An amplitude that has a threshold to be held against."""
    return amplitude if amplitude is not None and amplitude.threshold_mv is not None else None


def _turn_deg(metal: AngleTable, number: int) -> Fraction:
    """Crank degrees in which a track's shaft turns once: its teeth say how often it does."""
    return Fraction(metal.period * metal.teeth[number], metal.passages[number])

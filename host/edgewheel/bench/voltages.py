"""The VR outputs of a bench: from teeth and amplitude to what the board is told by CONFIG.

Flux: each edge of metal under the pole changes it by a bell-shaped pulse of voltage, of one sign
where metal comes and of the other where it goes (Faraday: the voltage is the turns times the rate
at which flux changes, Griffiths, Introduction to Electrodynamics, section 7.2, from memory). The
bell's width stands for the reach of the pole's field; it is an assumption, not a measurement.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from typing import TypeVar

from edgewheel.bench.half_wave_numbers import Voiced, number_lines, numbered
from edgewheel.edges.levels import LevelTable
from edgewheel.fault.model import VoltageFault
from edgewheel.fault.numbers import NumberLines
from edgewheel.fault.strength import RunOut, strengths_of
from edgewheel.link.messages import Config
from edgewheel.link.waves import (
    LARGEST_CORNER,
    LARGEST_KNEE,
    MOST_HALF_WAVES,
    POINTS,
    HalfWave,
    WaveForm,
)
from edgewheel.motion.segment import DEG_PER_S_PER_RPM
from edgewheel.wheel.angles import AngleTable
from edgewheel.wheel.model import Amplitude
from edgewheel.yamlfile import Node

_T = TypeVar("_T")
_Lengths = list[tuple[Fraction, Fraction]]

CODES = 0x8000
FULL_SHARE = 0xFF00 / 0x10000
"""How much of its height a code reaches at the highest point of a shape."""

ALIKE = Fraction(1, 8)
"""Half-waves whose lengths differ by less than this share may be the same ones."""


@dataclass(frozen=True)
class Voltage:
    """A track that is played as a voltage: its peak grows by `mv_per_rpm` up to `knee_rpm`.

    `full_scale_mv` is what the output stage makes of the highest code, `corner_hz` that of the
    high-pass in it, 0 if there is none. Run-out makes teeth stronger and weaker, as the sensor's
    `Amplitude` says.
    """

    mv_per_rpm: Fraction
    knee_rpm: Fraction
    full_scale_mv: Fraction
    corner_hz: Fraction = Fraction(0)
    run_out: Fraction = Fraction(0)
    closest_at: Fraction = Fraction(0)

    @property
    def mv_a_height(self) -> float:
        """Millivolts of the peak of a half-wave of height 1."""
        return float(self.full_scale_mv) / CODES * FULL_SHARE

    def times(self, strength: int) -> Voltage:
        """So many times as strong, up to the speed at which the stage makes no more."""
        mv_per_rpm = strength * self.mv_per_rpm
        knee = min(self.knee_rpm, _most_mv(self.full_scale_mv) / (mv_per_rpm * (1 + self.run_out)))
        return replace(self, mv_per_rpm=mv_per_rpm, knee_rpm=knee)


def _most_mv(full_scale_mv: Fraction) -> Fraction:
    return full_scale_mv * Fraction(0xFE, 0x100)


def voltage_of(
    node: Node, amplitude: Amplitude, full_scale_mv: Fraction, corner_hz: Fraction
) -> Voltage:
    """The voltage of a track; `node` is what to change if the stage cannot make it.

    Without a knee it is where the stage's own range ends. Raises FileError.
    """
    most_mv = _most_mv(full_scale_mv)
    mv_per_rpm, run_out = amplitude.mv_per_rpm, amplitude.run_out
    strongest = mv_per_rpm * (1 + run_out)
    knee = most_mv / strongest if amplitude.knee_rpm is None else amplitude.knee_rpm
    if strongest * knee > most_mv:
        raise node.refuse(
            f"{float(strongest * knee):g} mV at the knee are more than the stage makes",
            f"Lower the sensor's 'mv_per_rpm' or 'knee_rpm' to {float(most_mv):g} mV at the knee, "
            "run-out included, or raise 'full_scale_mv' if the stage makes more.",
        )
    return Voltage(mv_per_rpm, knee, full_scale_mv, corner_hz, run_out, amplitude.closest_at)


@dataclass(frozen=True)
class HalfWaves:
    """Where half-waves lie between the crossings of `levels`, and edges of `metal` within them."""

    levels: LevelTable
    metal: AngleTable

    def of(self, track: int) -> list[tuple[Fraction, Fraction]]:
        """Each half-wave of a track in crank degrees: its length, and from the tooth's centre to
        the edge of metal within it. None where no tooth is left.
        """
        period = self.levels.period
        crossings = _on(track, self.levels.track, self.levels.angles)
        after = [*crossings[1:], *(crossing + period for crossing in crossings[:1])]
        edges = _on(track, self.metal.track, self.metal.angles)
        metal = _on(track, self.metal.track, self.metal.metal)
        found = []
        for begin, end in zip(crossings, after, strict=True):
            first = bisect_left(edges, begin) % len(edges)
            at = (edges[first] - begin) % period
            found.append((end - begin, end - begin - at if metal[first] else at))
        return found


def _on(track: int, tracks: Sequence[int], values: Sequence[_T]) -> list[_T]:
    return [value for value, of in zip(values, tracks, strict=True) if of == track]


def wave_configs(
    voltages: Sequence[Voltage | None],
    inverts: Sequence[bool],
    played: HalfWaves,
    sound: HalfWaves,
    tick_hz: int,
    lines: Sequence[NumberLines] = (),
) -> tuple[Config, ...]:
    """What the board is told of every track that has a voltage, in the order of the tracks.

    `inverts` says by track what the stage makes of what is played; `sound` is the wheel without its
    faults. A line on which no VR sensor is stays a level.
    """
    configs: list[Config] = []
    for sensed in played.levels.vr:
        track, voltage = sensed.track, voltages[sensed.track]
        if voltage is not None:
            approach = sensed.nears ^ inverts[track]
            form = _form(voltage, approach, sound.of(track), played.of(track), tick_hz)
            for one in lines:
                if one.track == track:
                    form = numbered(form, one, _ticks_per_deg(voltage, tick_hz))
            configs.append(form.config(len(configs), track))
    return tuple(configs)


def lines_of(
    voltages: Sequence[Voltage | None],
    played: HalfWaves,
    sound: HalfWaves,
    faults: Collection[VoltageFault],
    used: int,
    live: bool,
) -> tuple[NumberLines, ...]:
    """The outputs that tell what half-waves are, beside the `used` lowest ones. Raises UsageError
    where there are too few.
    """
    voiced = []
    for sensed in played.levels.vr:
        track, voltage = sensed.track, voltages[sensed.track]
        if voltage is not None:
            name = played.levels.tracks[track]
            run_out = RunOut(float(voltage.run_out), voltage.closest_at)
            weak = [fault for fault in faults if fault.track == name]
            strengths = strengths_of(played.levels, track, run_out, weak)
            lengths = [length for length, _ in _kinds(sound.of(track), played.of(track))]
            voiced.append(Voiced(track, run_out, strengths, lengths))
    return number_lines(voiced, used, live)


def _ticks_per_deg(voltage: Voltage, tick_hz: int) -> Fraction:
    """At the knee."""
    return Fraction(tick_hz) / (DEG_PER_S_PER_RPM * voltage.knee_rpm)


def _form(
    voltage: Voltage, approach: int, sound: _Lengths, played: _Lengths, tick_hz: int
) -> WaveForm:
    ticks_per_deg = _ticks_per_deg(voltage, tick_hz)
    shortest = float(min(length for length, _ in sound))
    rows: dict[int, bytes] = {}
    for length, edge in _kinds(sound, played):
        ticks = min(max(round(length * ticks_per_deg), 1), LARGEST_KNEE)
        rows[ticks] = shape(float(length), float(edge), shortest / 2)
    peak = voltage.mv_per_rpm * voltage.knee_rpm / Fraction(voltage.mv_a_height)
    half = tuple(HalfWave(ticks, rows[ticks]) for ticks in sorted(rows))
    return WaveForm(
        max(1, math.floor(peak)), approach, half, corner_ticks(voltage.corner_hz, tick_hz)
    )


def corner_ticks(corner_hz: Fraction, tick_hz: int) -> int:
    """The time constant of a high-pass, 1 / (2 pi f), in ticks; 0 if there is none.

    Horowitz and Hill, The Art of Electronics, 3rd ed., section 1.7, from memory.
    """
    if not corner_hz:
        return 0
    return min(round(tick_hz / (2 * math.pi * float(corner_hz))), LARGEST_CORNER)


def _unlike(sound: _Lengths, played: _Lengths) -> _Lengths:
    """The half-waves that only faults of the wheel make, such as those beside a missing tooth; one
    that is a sound one but for a little is that one.
    """
    return [one for one in played if all(abs(one[0] / length - 1) > ALIKE for length, _ in sound)]


def _kinds(sound: _Lengths, played: _Lengths) -> _Lengths:
    """At most as many kinds as a board takes, by length: where there are more, those most alike
    count as one.
    """
    kinds = sorted(dict(sorted([*sound, *_unlike(sound, played)])).items())
    while len(kinds) > MOST_HALF_WAVES:
        ratios = [after[0] / before[0] for before, after in pairwise(kinds)]
        del kinds[ratios.index(min(ratios)) + 1]
    return kinds


def shape(length_deg: float, edge_deg: float, bell_deg: float) -> bytes:
    """A half-wave from the tooth's centre to the crossing beside it, its highest point 255.

    One bell of standard deviation `bell_deg` about the edge of metal at `edge_deg`, and its mirror
    images about both crossings, which make the voltage there zero.
    """

    def bell(at: float) -> float:
        return math.exp(-0.5 * ((at - edge_deg) / bell_deg) ** 2)

    values = []
    for point in range(POINTS):
        at = length_deg * point / (POINTS - 1)
        values.append(bell(at) - bell(-at) - bell(2 * length_deg - at))
    values[0] = values[-1] = 0.0
    highest = max(values)
    if highest <= 0:
        return bytes([0] * (POINTS // 2) + [255] + [0] * (POINTS // 2))
    return bytes(max(0, round(255 * value / highest)) for value in values)

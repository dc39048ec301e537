"""The amplitude thresholds of reluctors' inputs against speed, for the settings sheet."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from edgewheel.edges.half_waves import HalfWaveTables
from edgewheel.edges.levels import LevelTable, wheel_levels
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import Ripple
from edgewheel.search.sheet.model import Bound, Line, Subject
from edgewheel.wheel.model import Track

SPEEDS = 4
"""Speeds of the table, from the lowest to the highest in equal factors."""

SHARE = 0.5
"""Of the weakest half-wave; a factor of two is common practice, no source."""


def amplitude_lines(subject: Subject) -> Iterator[Line]:
    """A line for each reluctor and speed.

    The weakest half-wave at a mean speed n peaks at

        U = mv_per_rpm x min(n x ripple(angle), knee_rpm) x (1 + run_out cos(x))

    least over all teeth, as edges are compiled; ripple(angle) is the speed there over the mean, the
    motions' worst at that speed. A threshold above U loses that tooth.
    """
    levels = wheel_levels(subject.wheel)
    for number, track in enumerate(subject.wheel.tracks):
        if track.sensor.kind != "vr":
            continue
        amplitude = track.sensor.amplitude
        if amplitude is None or amplitude.threshold_mv is None:
            yield _unknown(subject, track)
            continue
        own = levels.only([number])
        for rpm in _speeds(subject):
            yield _line(subject, track, own, rpm)


def _line(subject: Subject, track: Track, levels: LevelTable, rpm: float) -> Line:
    amplitude = track.sensor.amplitude
    assert amplitude is not None and amplitude.threshold_mv is not None
    tables = HalfWaveTables(levels)
    weakest = min(
        tables.of(ripple, Fraction(0)).weakest(rpm)
        for _, motion in subject.motions
        for ripple in _ripples(motion, rpm)
    )
    weakest_mv = weakest * float(amplitude.threshold_mv)
    set_mv = float(amplitude.threshold_mv)
    notes = []
    if weakest < 1:
        notes.append(f"As the wheel says, {set_mv:g} mV, it loses teeth at this speed.")
    notes.append("Lower end not known: measure the noise on the loom at this speed.")
    return Line(
        f"{track.name}_threshold_{rpm:.0f}",
        f"{track.name} at {rpm:.0f} rpm",
        float(f"{SHARE * weakest_mv:.3g}"),
        "mV",
        None,
        Bound(weakest_mv, "the weakest tooth is not seen"),
        tuple(notes),
    )


def _unknown(subject: Subject, track: Track) -> Line:
    note = (
        f"Not known: the wheel does not say how strong '{track.name}' is. Measure its peaks at one "
        "speed, then 'sensors: "
        f"{{{track.name}: {{amplitude: {{mv_per_rpm: X, threshold_mv: Y}}}}}}'."
    )
    return Line(f"{track.name}_threshold", f"{track.name} threshold", None, "mV", notes=(note,))


def _speeds(subject: Subject) -> list[float]:
    low, high = subject.speeds_rpm()
    if low == high:
        return [low]
    factor = (high / low) ** (1 / (SPEEDS - 1))
    return [low * factor**number for number in range(SPEEDS)]


def _ripples(motion: Motion, rpm: float) -> set[Ripple | None]:
    """The ripples under which a speed is met; none, if it never is."""
    met: set[Ripple | None] = set()
    for number in range(len(motion)):
        segment = motion[number].segment
        low, high = sorted((abs(float(segment.rpm_begin)), abs(float(segment.rpm_end))))
        if low * 0.999 <= rpm <= high * 1.001:
            met.add(segment.ripple)
    return met or {None}

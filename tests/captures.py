"""Captures of library wheels for the tests of learning: five motions, spoilt on purpose or not.

What a wheel's pattern is is worked out here from exact fractions and compared by trying rotations,
without the outlines of the learn room.
"""

from __future__ import annotations

import wave
from fractions import Fraction
from functools import cache
from math import gcd
from pathlib import Path

import numpy as np

from edgewheel.edges.captures.capture import Capture
from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.export import write_vcd
from edgewheel.edges.levels import wheel_levels
from edgewheel.edges.table import EdgeChunk, EdgeHeader, join
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold, ramp
from edgewheel.wheel.model import Wheel
from library_wheels import library_levels

F = Fraction


def _ripple(depth: str, per_turn: Fraction) -> CompressionRipple:
    return CompressionRipple(F(depth), per_turn, F(80))


MOTIONS = {
    "steady": Motion([hold(F(1000), turns=F(40))], F(123)),
    "up": Motion([ramp(F(600), F(3000), seconds=F(3, 2))], F(123)),
    "down": Motion([ramp(F(4000), F(800), seconds=F(1))], F(200)),
    "cranking": Motion([hold(F(250), turns=F(40), ripple=_ripple("0.15", F(2)))], F(77)),
    "catching": Motion([ramp(F(200), F(900), turns=F(40), ripple=_ripple("0.1", F(3, 2)))], F(5)),
}
RIPPLED = ("cranking", "catching")

Streams = dict[tuple[str, int], list[float]]


FAN_7 = """format: 1
name: Fan 7
wheel: 60-minus-2-half-moon-cam
controller:
  kind: sim
  settings:
    crank: {line: crank, edge: rising}
    cam: {line: cam, edge: rising}
    wheel: {kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}
    phase: {by: level, level: high}
    engine: {firing_order: [1, 3, 4, 2], tdc_after_reference_deg: 84}
    ignition: {advance_deg: 10}
limits: {sync_within_s: 1}
"""
"""A bench file on which captures of its wheel are played."""


def table(name: str, motion: str, tick_hz: int = 1_000_000) -> tuple[EdgeHeader, EdgeChunk]:
    """The edge table of a library wheel under one of the motions."""
    compiler = EdgeCompiler(library_levels(name), MOTIONS[motion], tick_hz)
    return compiler.header(), join(*compiler.chunks())


def capture_of(header: EdgeHeader, edges: EdgeChunk, name: str = "test") -> Capture:
    """A table as if it had been captured."""
    return Capture(name, header, edges, int(edges.ticks[-1]))


def save_vcd(path: Path, header: EdgeHeader, edges: EdgeChunk) -> Path:
    """The table as a VCD file."""
    with path.open("w") as file:
        write_vcd(file, header, [edges])
    return path


def spoilt(
    header: EdgeHeader, edges: EdgeChunk, seed: int, jitter: float = 0.01, dropped: float = 0.005
) -> EdgeChunk:
    """Every edge jitters by a share of the busiest track's tooth period, some pulses are gone."""
    random = np.random.default_rng(seed)
    rises = [
        edges.ticks[(edges.track == t) & (edges.level == 1)] for t in range(len(header.tracks))
    ]
    busiest = max(rises, key=len).astype(float)
    parts = []
    for track in range(len(header.tracks)):
        own = edges.track == track
        ticks, level = edges.ticks[own].astype(float), edges.level[own]
        period = np.interp(ticks, busiest[1:], np.diff(busiest))
        shift = random.normal(0, jitter, len(ticks))
        if float(np.median(np.diff(ticks)[level[:-1] == 1])) < 0.1 * float(np.median(period)):
            shift[1:][level[1:] == 0] = shift[:-1][level[1:] == 0]  # A short pulse moves whole.
        ticks = np.sort(ticks + shift * period)
        begins = np.flatnonzero(level[:-1] == 1)
        gone = begins[random.random(len(begins)) < dropped]
        keep = np.ones(len(ticks), bool)
        keep[gone] = keep[gone + 1] = False
        whole = np.rint(ticks[keep]).astype(np.int64)
        parts.append(EdgeChunk(whole, np.full(len(whole), track, np.uint8), level[keep]))
    together = join(*parts)
    order = np.lexsort((together.track, together.ticks))
    return EdgeChunk(together.ticks[order], together.track[order], together.level[order])


def save_wav(
    path: Path, header: EdgeHeader, edges: EdgeChunk, rate: int, noise: float, vr: bool = False
) -> Path:
    """The table sampled: levels of +-0.4, or VR half-waves as high as the speed; noise on top."""
    seconds = float(edges.ticks[-1]) / header.tick_hz
    times = np.arange(int(seconds * rate)) / rate
    random = np.random.default_rng(7)
    channels = []
    for track in range(len(header.tracks)):
        own = edges.track == track
        at = edges.ticks[own] / header.tick_hz
        after = np.searchsorted(at, times, side="right")
        levels = np.concatenate([[header.initial[track]], edges.level[own]])[after]
        clean = np.where(levels == 1, 0.4, -0.4)
        if vr:
            inside = (after > 0) & (after < len(at))
            begin, end = at[np.clip(after - 1, 0, None)], at[np.clip(after, None, len(at) - 1)]
            length = np.where(inside, end - begin, np.inf)
            shortest = float(np.min(length))
            wave_ = np.sin(np.pi * np.where(inside, (times - begin) / length, 0.0))
            clean = np.sign(clean) * wave_ * 0.8 * shortest / length
        channels.append(clean + random.normal(0, noise, len(times)))
    samples = (np.clip(np.stack(channels, axis=1), -1, 1) * 32767).astype("<i2")
    with wave.open(str(path), "wb") as file:
        file.setnchannels(len(channels))
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes(samples.tobytes())
    return path


@cache
def pattern(wheel: Wheel, only: tuple[str, int] | None = None) -> tuple[Streams, float]:
    """Edges by track and level as shares of the smallest repeat, and its crank degrees.

    With `only`, as if the edges of one track to one level were all there is.
    """
    levels = wheel_levels(wheel)
    places: dict[tuple[str, int], set[Fraction]] = {}
    for angle, track, level in zip(levels.angles, levels.track, levels.level, strict=True):
        if only in (None, (levels.tracks[track], level)):
            places.setdefault((levels.tracks[track], level), set()).add(F(angle) / levels.period)
    common = gcd(*(len(ones) for ones in places.values()))
    parts = max(
        n
        for n in range(1, 1 + common)
        if common % n == 0
        and all({(p + F(1, n)) % 1 for p in ones} == ones for ones in places.values())
    )
    streams = {key: sorted({float(p * parts % 1) for p in ones}) for key, ones in places.items()}
    return streams, levels.period / parts


def off_deg(wheel: Wheel, learned: Wheel) -> float | None:
    """Crank degrees between the edges of two wheels, at most, turned to fit best and brought to the
    same scale; None if they have not the same tracks with as many edges.

    What the true wheel leaves to time (the ends of a direction sensor's pulses) does not count.
    """
    true, repeat_deg = pattern(wheel)
    found, _ = pattern(learned)
    own = sorted(track.name for track in learned.tracks)  # channel_1, channel_2 and so on
    names = {a: b.name for a, b in zip(own, wheel.tracks, strict=False)}
    if {track for track, _ in found} != {track for track, _ in true}:
        found = {(names[track], level): ones for (track, level), ones in found.items()}
    return _off_deg(true, {key: ones for key, ones in found.items() if key in true}, repeat_deg)


def one_edge_off_deg(wheel: Wheel, only: tuple[str, int], learned: Wheel) -> float | None:
    """The same where one edge of the teeth of one track is all that was captured."""
    true, repeat_deg = pattern(wheel, only)
    (track,) = learned.tracks
    found, _ = pattern(learned, (track.name, 1))
    return _off_deg(true, {only: found[track.name, 1]}, repeat_deg)


def _off_deg(true: Streams, found: Streams, repeat_deg: float) -> float | None:
    if {key: len(ones) for key, ones in true.items()} != {
        k: len(ones) for k, ones in found.items()
    }:
        return None
    few = min(true, key=lambda key: len(true[key]))
    best = 1.0
    for place in true[few]:
        turn = place - found[few][0]
        worst = 0.0
        for key, ones in true.items():
            gaps = np.abs(np.array(ones)[:, None] - (np.array(found[key])[None, :] + turn) % 1)
            gaps = np.minimum(gaps, 1 - gaps)
            worst = max(worst, float(gaps.min(0).max()), float(gaps.min(1).max()))
        best = min(best, worst)
    return best * repeat_deg


def busiest(wheel: Wheel) -> tuple[str, int]:
    """The track with the most teeth, and the level that its sensor shows under a tooth."""
    track = max(wheel.tracks, key=lambda one: one.passages(wheel.period))
    turned = (track.sensor.metal == "low") != (track.sensor.kind == "vr")
    return track.name, int(not turned)


def save_periods(path: Path, header: EdgeHeader, edges: EdgeChunk, only: tuple[str, int]) -> Path:
    """One interval a line, in whole ticks, between the edges of one track to one level."""
    track, level = only
    own = (edges.track == header.tracks.index(track)) & (edges.level == level)
    np.savetxt(path, np.diff(edges.ticks[own]), fmt="%d")
    return path

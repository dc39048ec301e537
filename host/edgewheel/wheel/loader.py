"""Wheel files: YAML to :class:`Wheel`, or one sentence that says what to mend and where."""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

from edgewheel import yamlfile
from edgewheel.wheel.amplitude import read_amplitude
from edgewheel.wheel.model import (
    MOST_TRACKS,
    DirectionPulse,
    PinLevel,
    Sensor,
    SensorKind,
    Shaft,
    Track,
    Wheel,
)
from edgewheel.wheel.teeth import readable, teeth_of
from edgewheel.yamlfile import Node

FORMAT = 1
MOST_CYLINDERS = 24
LONGEST_PULSE_US = 10_000

_PERIODS = {"360": 360, "720": 720}
_SHAFTS: tuple[Shaft, ...] = ("crank", "cam")
_KINDS: tuple[SensorKind, ...] = ("hall", "vr")
_LEVELS: tuple[PinLevel, ...] = ("high", "low")
_TRACK_NAME = re.compile(r"[a-z][a-z0-9_]{0,23}")


def load_wheel(path: Path) -> Wheel:
    """The wheel in a file. Raises FileError."""
    return parse_wheel(yamlfile.read_text(path, yamlfile.LARGEST_YAML_BYTES), str(path))


@lru_cache(yamlfile.TREES_KEPT)
def parse_wheel(text: str, file: str) -> Wheel:
    """The wheel in a text; `file` is the name that errors give. Raises FileError."""
    return wheel_of(yamlfile.parse(text, file))


def wheel_of(node: Node) -> Wheel:
    """The wheel in a tree. Raises FileError."""
    section = node.section()
    _check_format(section.required("format"))
    name = section.required("name").text()
    texts = {key: section.optional(key) for key in ("summary", "group", "met")}
    period = _PERIODS[section.required("period").choice(tuple(_PERIODS))]
    tracks, tdc = section.required("tracks"), section.optional("tdc")
    section.finish()
    return Wheel(
        name=name,
        period=period,
        tracks=_tracks(tracks, period),
        tdc=_tdc(tdc, period) if tdc else (),
        **{key: text.text() if text else "" for key, text in texts.items()},
    )


def _check_format(node: Node) -> None:
    if node.integer() != FORMAT:
        remedy = f"Write 'format: {FORMAT}', or use the edgewheel that the file was made for."
        raise node.refuse(f"format {node.content} is not known here", remedy)


def _tracks(node: Node, period: int) -> tuple[Track, ...]:
    nodes = node.section().nodes
    if not 1 <= len(nodes) <= MOST_TRACKS:
        remedy = f"Give 1 to {MOST_TRACKS} tracks: the board has {MOST_TRACKS} outputs."
        raise node.refuse(f"there are {len(nodes)} tracks", remedy)
    return tuple(_track(name, track, period) for name, track in nodes.items())


def _track(name: str, node: Node, period: int) -> Track:
    if not _TRACK_NAME.fullmatch(name):
        remedy = "Use small letters, digits and _, a letter first, 24 at most."
        raise node.refuse(f"'{name}' cannot name a track", remedy)
    section = node.section()
    shaft_node, sensor = section.required("shaft"), section.optional("sensor")
    teeth = section.required("teeth")
    section.finish()
    shaft = shaft_node.choice(_SHAFTS)
    if shaft == "cam" and period == 360:
        raise shaft_node.refuse(
            "a cam shaft turns once in 720 crank degrees, but the period is 360",
            "Write 'period: 720'. A two-stroke's cam turns with the crank: write 'shaft: crank'.",
        )
    return Track(name, shaft, _sensor(sensor) if sensor else Sensor(), teeth_of(teeth))


def _sensor(node: Node) -> Sensor:
    section = node.section()
    kind_node, metal = section.optional("kind"), section.optional("metal")
    direction, amplitude = section.optional("direction"), section.optional("amplitude")
    section.finish()
    kind = kind_node.choice(_KINDS) if kind_node else "hall"
    if direction and kind == "vr":
        remedy = "Write 'kind: hall', or leave 'direction' out."
        raise direction.refuse("a VR sensor cannot tell which way the wheel turns", remedy)
    return Sensor(
        kind,
        metal.choice(_LEVELS) if metal else "high",
        _direction(direction) if direction else None,
        read_amplitude(amplitude, kind) if amplitude else None,
    )


def _direction(node: Node) -> DirectionPulse:
    section = node.section()
    forward, reverse = section.required("forward_us"), section.required("reverse_us")
    section.finish()
    widths = [one.number(maximum=LONGEST_PULSE_US, above=0) for one in (forward, reverse)]
    if widths[0] == widths[1]:
        remedy = "Give them different widths: that is how the direction is told."
        raise reverse.refuse("both pulses are equally long", remedy)
    return DirectionPulse(*widths)


def _tdc(node: Node, period: int) -> tuple[tuple[int, Fraction], ...]:
    nodes = node.section().nodes
    if not nodes:
        raise node.refuse("no cylinder is given", "Write 'tdc: {1: 84}', or leave it out.")
    tdc: dict[int, Fraction] = {}
    for key, angle_node in nodes.items():
        cylinder = _cylinder(key, angle_node)
        angle = angle_node.number(0, below=period)
        for other, taken in tdc.items():
            if other == cylinder:
                raise angle_node.refuse(f"cylinder {cylinder} stands here twice", "Keep one.")
            if taken == angle:
                raise angle_node.refuse(
                    f"cylinders {other} and {cylinder} have the same TDC",
                    "Give each its own; if they fire a turn apart, write 'period: 720'.",
                )
        tdc[cylinder] = angle
    for cylinder in range(1, len(tdc) + 1):
        if cylinder not in tdc:
            remedy = f"Number the {len(tdc)} cylinders from 1 to {len(tdc)}."
            raise node.refuse(f"cylinder {cylinder} is missing", remedy)
    _check_firing_order(node, tdc)
    return tuple(tdc.items())


def _cylinder(key: str, node: Node) -> int:
    if not (key.isdecimal() and 1 <= int(key) <= MOST_CYLINDERS):
        remedy = f"Write a number from 1 to {MOST_CYLINDERS}."
        raise node.refuse(f"'{key}' is not a cylinder", remedy)
    return int(key)


def _check_firing_order(node: Node, tdc: dict[int, Fraction]) -> None:
    """Refuse angles that do not ascend round the period in the order in which they are listed."""
    cylinders = list(tdc)
    falls = [(a, b) for a, b in pairwise([*cylinders, cylinders[0]]) if tdc[b] < tdc[a]]
    if len(falls) <= 1:
        return
    before, after = falls[0]
    start = tdc[cylinders[0]]
    ordered = sorted(cylinders, key=lambda one: (tdc[one] < start, tdc[one]))
    listed = ", ".join(f"{one}: {readable(tdc[one])}" for one in ordered)
    raise node.refuse(
        f"the firing order contradicts itself: cylinder {after} stands after {before}, "
        f"but its angle is smaller",
        f"List the cylinders as they fire: {{{listed}}}.",
    )

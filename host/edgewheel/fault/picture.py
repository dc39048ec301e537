"""A picture of a fault: the sound signal above, the faulty one below, what is changed marked."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap

from edgewheel.edges.table import EdgeChunk, EdgeHeader, join
from edgewheel.fault.diff import flips_between
from edgewheel.fault.examples import Example
from edgewheel.fault.flips import Flip
from edgewheel.fault.model import US_PER_S
from edgewheel.fault.pipeline import Pipeline
from edgewheel.fault.signal import SignalPlan
from edgewheel.wheel.drawing.style import STYLE
from edgewheel.wheel.drawing.svg import Canvas, mm

TICK_HZ = 1_000_000
WIDTH, LEFT, RIGHT = 860.0, 120.0, 20.0
HIGH = 24.0
LANE = 44.0
TRACK_SPACE = 22.0
MARK = 3.5
LETTERS = 112
LEAST_BAND = 1.2

_STYLE = (
    STYLE
    + """
.changed{fill:#f7d9c8}
.flag{fill:#b3400e}
.gone{fill:none;stroke:#b3400e;stroke-width:1.2}
.code{font-family:"DejaVu Sans Mono",monospace;font-size:11px}
"""
)

Drawn = tuple[EdgeHeader, EdgeChunk]


def fault_svg(example: Example) -> str:
    """The picture of an example, as an SVG file."""
    sound, faulty = (_drawn(plan) for plan in (example.sound, example.faulty))
    end_us = max(p.motion.end_s for p in (example.sound, example.faulty)) * US_PER_S
    flips = flips_between(sound[0], [sound[1]], faulty[0], [faulty[1]], end_us)
    canvas = Canvas()
    meaning = example.meaning.replace("`", "")
    lines = wrap(meaning, LETTERS)
    canvas.text((20, 30), example.kind, "heading")
    for number, line in enumerate(lines):
        canvas.text((20, 52 + 16 * number), line, "small")
    top = 62.0 + 16 * len(lines)
    for line in wrap(example.line, LETTERS - 8, subsequent_indent="    "):
        canvas.text((20, top), line, "code quiet")
        top += 15
    top += 24
    scale = (WIDTH - LEFT - RIGHT) / float(end_us)
    for number, name in enumerate(sound[0].tracks):
        own = [flip for flip in flips if flip.track == name]
        _bands(canvas, own, top, scale, float(end_us))
        canvas.text((20, top + HIGH - 8), name, "name")
        for row, (words, drawn) in enumerate((("sound", sound), ("faulty", faulty))):
            canvas.text((LEFT - 8, top + row * LANE + HIGH - 8), words, "small end quiet")
            _trace(canvas, drawn, number, top + row * LANE, scale, float(end_us))
        _flags(canvas, sound, faulty, number, top + LANE + HIGH, scale)
        top += 2 * LANE + TRACK_SPACE
    _seconds(canvas, top - 6, scale, float(end_us))
    return canvas.document(WIDTH, top + 42, f"{example.kind}: {meaning}", _STYLE)


def _drawn(plan: SignalPlan) -> Drawn:
    pipeline = Pipeline(plan, TICK_HZ)
    return pipeline.header, join(*pipeline.edges())


def _of_track(drawn: Drawn, number: int) -> list[tuple[int, int]]:
    edges = drawn[1]
    own = edges[edges.track == number]
    return list(zip(own.ticks.tolist(), own.level.tolist(), strict=True))


def _trace(
    canvas: Canvas, drawn: Drawn, number: int, top: float, scale: float, end_us: float
) -> None:
    """A square wave; a tick is a microsecond."""
    height = (mm(top + HIGH), mm(top))
    parts = [f"M{mm(LEFT)} {height[drawn[0].initial[number]]}"]
    for tick, level in _of_track(drawn, number):
        parts.append(f"H{mm(LEFT + tick * scale)}V{height[level]}")
    canvas.path("".join(parts) + f"H{mm(LEFT + end_us * scale)}", "ink")


def _bands(canvas: Canvas, flips: Sequence[Flip], top: float, scale: float, end_us: float) -> None:
    """Where the two signals differ, across both."""
    for flip in flips:
        begin, end = max(float(flip.from_us), 0.0), min(float(flip.to_us), end_us)
        width = max((end - begin) * scale, LEAST_BAND)
        canvas.box((LEFT + begin * scale, top - 5), width, LANE + HIGH + 10, "changed")


def _flags(
    canvas: Canvas, sound: Drawn, faulty: Drawn, number: int, y: float, scale: float
) -> None:
    """A triangle under every edge that is not in the other signal, at its place."""
    one, other = set(_of_track(sound, number)), set(_of_track(faulty, number))
    for tick, _ in sorted(other - one):
        x = LEFT + tick * scale
        canvas.polygon([(x, y + 6), (x - MARK, y + 13), (x + MARK, y + 13)], "flag")
    for tick, _ in sorted(one - other):
        x = LEFT + tick * scale
        canvas.line((x - MARK, y - LANE + 6), (x + MARK, y - LANE + 13), "gone")
        canvas.line((x - MARK, y - LANE + 13), (x + MARK, y - LANE + 6), "gone")


def _seconds(canvas: Canvas, y: float, scale: float, end_us: float) -> None:
    """The scale of time."""
    canvas.line((LEFT, y), (LEFT + end_us * scale, y), "thin")
    step_ms = next(s for s in (10, 20, 50, 100, 200) if end_us / 1000 / s <= 20)
    for ms in range(0, int(end_us / 1000) + 1, step_ms):
        x = LEFT + ms * 1000 * scale
        canvas.line((x, y), (x, y + 6), "thin")
        canvas.text((x, y + 19), f"{ms}", "tiny mid")
    canvas.text((LEFT + end_us * scale / 2, y + 34), "milliseconds", "tiny mid quiet")

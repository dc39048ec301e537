"""A learned wheel as a wheel file: the shortest form of its teeth, the evidence in comments."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

from edgewheel.learn.shape import LearnedTrack, Shape, Span
from edgewheel.wheel.loader import parse_wheel
from edgewheel.wheel.model import Wheel
from edgewheel.wheel.teeth import FINEST_DEG

NEAR, NEAR_DEG = 0.06, 0.5
"""Pitches and degrees by which teeth stand off an even row through the errors of a capture."""

TIMES_ERROR = 4.0
"""Standard errors of an edge by which a tooth of an even row may stand off through scatter."""

SHARE_DEG = 0.15
"""Degrees within which the width of a tooth is a plain fraction of the pitch."""

MOST_EXTRA = 4
"""Teeth beside an even row; with more of them each tooth is written out."""

ROUND_DEG = (0.5, 0.1, 0.05)
"""What an angle is rounded to, the first that moves it by no more than a tenth of itself."""


def wheel_text(shape: Shape, name: str, summary: str, comments: Sequence[str]) -> str:
    """The YAML text of a wheel file."""
    lines = [f"# {comment}".rstrip() for comment in comments]
    lines += ["format: 1", f"name: {name}", f"summary: {summary}", f"period: {shape.period}"]
    lines.append("tracks:")
    for track in shape.tracks:
        lines += _track(track, shape.turn_slots if track.name == shape.main else 0)
    return "\n".join(lines) + "\n"


def parsed(text: str, path: Path) -> Wheel:
    """The wheel in a text that :func:`wheel_text` made."""
    return parse_wheel(text, str(path))


def _track(track: LearnedTrack, pitches: int) -> list[str]:
    lines = [f"  {track.name}:", f"    shaft: {track.shaft}"]
    sensor = _sensor(track)
    if sensor:
        lines.append(f"    sensor: {{{sensor}}}")
    return lines + [f"    {line}" for line in _teeth(track, pitches)]


def _sensor(track: LearnedTrack) -> str:
    parts = []
    if track.kind == "vr":
        parts.append("kind: vr")
    if track.metal == "low":
        parts.append("metal: low")
    if track.pulse_us:
        forward = f"{track.pulse_us:.0f}" if track.pulse_us >= 10 else f"{track.pulse_us:.1f}"
        # How long a pulse is in reverse has not been seen; twice as long is usual.
        reverse = f"{2 * float(forward):g}"
        parts.append(f"direction: {{forward_us: {forward}, reverse_us: {reverse}}}")
    return ", ".join(parts)


def _teeth(track: LearnedTrack, pitches: int) -> list[str]:
    for count in dict.fromkeys([pitches or len(track.teeth), len(track.teeth)]):
        row = _row(track.teeth, count, track.error_deg)
        if row is not None:
            return row
    return ["teeth:", *(f"  - {_pair(tooth)}" for tooth in track.teeth)]


def _row(teeth: tuple[Span, ...], count: int, error_deg: float) -> list[str] | None:
    """Teeth as an even row of `count` pitches with some missing and a few extra; None if not.

    `error_deg` is the standard error of an edge.
    """
    pitch = 360 / count
    near = min(NEAR, max(NEAR_DEG, TIMES_ERROR * error_deg) / pitch)
    widths = sorted(end - begin for begin, end in teeth)
    width = widths[len(widths) // 2]
    offset = _offset([begin / pitch % 1 for begin, _ in teeth]) * pitch
    taken: set[int] = set()
    extra: list[Span] = []
    for begin, end in teeth:
        place = (begin - offset) / pitch
        off = abs(place - round(place))
        number = round(place) % count + 1
        if off > near or abs(end - begin - width) > near * pitch or number in taken:
            extra.append((begin, end))
        else:
            taken.add(number)
    if len(extra) > min(MOST_EXTRA, len(teeth) // 3) or width >= 0.98 * pitch:
        return None
    missing = [number for number in range(1, count + 1) if number not in taken]
    parts = [f"pitches: {count}"]
    if missing:
        last = list(range(count - len(missing) + 1, count + 1))
        parts.append(f"missing: {len(missing) if missing == last else missing}")
    parts.append(f"width: {_share(width, pitch)}")
    if abs(offset) > 0.05:
        parts.append(f"offset: {_degrees(offset)}")
    if not extra:
        return [f"teeth: {{{', '.join(parts)}}}"]
    # An offset turns the extra teeth too, so they are written as they stand before it.
    turned = [(b - offset, e - offset) if abs(offset) > 0.05 else (b, e) for b, e in extra]
    listed = [f"    - {_pair((b % 360, b % 360 + e - b))}" for b, e in turned]
    return ["teeth:", *(f"  {part}" for part in parts), "  extra:", *listed]


def _offset(places: list[float]) -> float:
    """By which part of a pitch, -1/2 to 1/2, most teeth are turned."""
    best = max(places, key=lambda one: sum(abs((p - one + 0.5) % 1 - 0.5) < NEAR for p in places))
    near = [(p - best + 0.5) % 1 - 0.5 for p in places]
    near = [off for off in near if abs(off) < NEAR]
    return (best + sum(near) / len(near) + 0.5) % 1 - 0.5


def _share(width: float, pitch: float) -> str:
    """A width as a share of the pitch, as a plain fraction if it is near one."""
    plain = Fraction(width / pitch).limit_denominator(6)
    if abs(float(plain) * pitch - width) < SHARE_DEG and 0 < plain < 1:
        return str(plain)
    return f"{width / pitch:.5f}"


def _pair(tooth: Span) -> str:
    begin, end = _rounded(tooth[0]) % 360, _rounded(tooth[1])
    if end >= 360 and begin < tooth[0] - 1:
        end -= 360
    end = max(end, begin + float(FINEST_DEG))
    return f"[{begin:g}, {end:g}]"


def _degrees(angle: float) -> str:
    return f"{_rounded(angle):g}"


def _rounded(angle: float) -> float:
    for step in ROUND_DEG:
        near = round(angle / step) * step
        if abs(near - angle) <= step / 10:
            return round(near, 4)
    return round(angle, 2)

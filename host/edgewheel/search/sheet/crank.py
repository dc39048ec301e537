"""The crank's lines of the settings sheet: edge, wheel, gap limits, blanking."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from edgewheel.edges.motion_ratios import MotionRatios, motion_ratios
from edgewheel.fault.bounce import Bounce
from edgewheel.search.sheet.model import Bound, Line, Subject
from edgewheel.search.variant import crank_pattern
from edgewheel.wheel.landmarks import main_track
from edgewheel.wheel.model import Track
from edgewheel.wheel.pins import SingleEdge, edge_periods, pin_edges
from edgewheel.wheel.ratios import usual_period
from edgewheel.wheel.safe import safe_edge
from edgewheel.wheel.wording import degrees

EDGE_WORDS = {"rise": "rising", "fall": "falling"}
US_PER_S = 1e6
HALF = 0.5
"""Of the end that is known, where nothing is known of the other one."""


@dataclass(frozen=True)
class _Window:
    """How long after a counted edge others may follow it: `us` + `share` of the period before."""

    us: float = 0.0
    share: float = 0.0


def crank_edge(track: Track, period: int) -> SingleEdge:
    """The edge that the sheet recommends for a track; the rising one where both are as good."""
    return safe_edge(track, period).edge or "rise"


def crank_lines(subject: Subject) -> Iterator[Line]:
    """Everything about the crank input but the reference angle."""
    track = main_track(subject.wheel)
    ratios = [
        motion_ratios(subject.wheel, motion, subject.limits.least_rpm)
        for _, motion in subject.motions
    ]
    yield edge_line(subject, track, "crank")
    yield from _wheel(track)
    yield from _gap(subject, track, ratios)
    window = _bounce_window(track, subject)
    yield _blanking_percent(subject, window, ratios)
    yield _blanking_us(subject, window, ratios)


def edge_line(subject: Subject, track: Track, name: str) -> Line:
    """The edge to count, and the level at the pin under metal."""
    safe = safe_edge(track, subject.wheel.period)
    edge = crank_edge(track, subject.wheel.period)
    shifts = [abs(shift) for _, shift in safe.shifts]
    notes = [f"{safe.reason[0].upper()}{safe.reason[1:]}."]
    if shifts and name == "crank":
        least, most = min(shifts), max(shifts)
        span = degrees(most) if least == most else f"{degrees(least)} to {degrees(most)}"
        notes.append(f"On the other edge every angle is {span} off.")
    if track.sensor.kind == "vr":
        notes.append(f"Leads so that the pin goes {_way(track)} as a tooth's centre passes.")
    else:
        notes.append(f"The pin is {track.sensor.metal} while metal is at the sensor.")
    typed = {f"{name}.edge": EDGE_WORDS[edge], f"{name}.inverted": False}
    return Line(
        f"{name}_edge",
        f"{name} edge",
        EDGE_WORDS[edge],
        notes=tuple(notes),
        typed=typed,
        ask="edgewheel timing RUN RUN, with two tooth widths" if name == "crank" else "",
    )


def _way(track: Track) -> str:
    return "low" if track.sensor.metal == "high" else "high"


def _wheel(track: Track) -> Iterator[Line]:
    pattern = crank_pattern(track)
    if pattern.regular and pattern.missing:
        words = f"{pattern.pitches} pitches, {pattern.missing} missing"
        typed = {
            "wheel.kind": "missing_teeth",
            "wheel.pitches": pattern.pitches,
            "wheel.missing": pattern.missing,
            "wheel.shaft": track.shaft,
        }
        yield Line(
            "wheel", "wheel", words, notes=(f"It turns with the {track.shaft}.",), typed=typed
        )


def _gap(subject: Subject, track: Track, ratios: Sequence[MotionRatios]) -> Iterator[Line]:
    """The limits between which a period over the one before it is taken for the gap.

    The lower one lies between the greatest ratio that is not the gap's and the gap's least; the
    upper one between the gap's greatest and that of a gap of m pitches that one more tooth is lost
    beside, (m + 1) / m times the gap's least. Each is put as far, as a factor, from either end
    (their geometric mean), since ratios spread by factors.
    """
    gaps = [gap for one in ratios if (gap := one.of("gap")) is not None]
    others = [most.ratio for one in ratios if (most := one.greatest_other) is not None]
    if not gaps or not others:
        note = (
            f"No gap passes between ordinary teeth of '{track.name}', so there is no limit to type."
        )
        yield Line("gap_ratio", "gap ratio", "none", notes=(note,))
        return
    least = min(gap.least.ratio for gap in gaps)
    greatest = max(gap.greatest.ratio for gap in gaps)
    other = max(others)
    periods = edge_periods(
        pin_edges(track, subject.wheel.period, crank_edge(track, subject.wheel.period)),
        subject.wheel.period,
    )
    pitches = max(periods) / usual_period(periods)
    with_lost = least * float((pitches + 1) / pitches)
    yield _between(
        "gap_ratio_low",
        "gap ratio, from",
        Bound(other, "an ordinary tooth is taken for the gap"),
        Bound(least, "the gap is not seen"),
        _ask(subject, "wheel.gap_ratio_low", other * 0.9, least * 1.1),
    )
    yield _between(
        "gap_ratio_high",
        "gap ratio, up to",
        Bound(greatest, "the gap is not seen"),
        Bound(with_lost, "a gap with a tooth lost beside it passes for the gap"),
        _ask(subject, "wheel.gap_ratio_high", greatest * 0.9, with_lost * 1.1),
    )


def _between(key: str, name: str, low: Bound, high: Bound, ask: str) -> Line:
    if low.value >= high.value:
        note = f"No limit serves both: {low.beyond} below, {high.beyond} above."
        return Line(key, name, None, "", low, high, (note,), ask=ask)
    value = _rounded_between(math.sqrt(low.value * high.value), low.value, high.value)
    return Line(key, name, value, "", low, high, ask=ask, typed={f"wheel.{key}": value})


def _blanking_percent(subject: Subject, window: _Window, ratios: Sequence[MotionRatios]) -> Line:
    """Blanking as a share of the last tooth period.

    An edge that comes sooner than the share s of the period T(k-1) before is hidden. No tooth is,
    while s <= min T(k) / T(k-1), the least period ratio of the motions: that of the tooth after the
    gap, at its slowest before and fastest after. A bounce that lasts b after an edge is hidden
    while s T(k) >= b for the shortest period T, at the highest speed: s >= b / min T(k).
    """
    least = min((one.least for one in ratios), key=lambda one: one.ratio)
    shortest_s = min(one.shortest_s for one in ratios)
    low = 100 * (window.us / US_PER_S / shortest_s + window.share)
    beyond = f"tooth {least.tooth} is hidden at {least.seconds:.2f} s"
    return _blanking(subject, "percent", "%", low, Bound(100 * least.ratio, beyond), window)


def _blanking_us(subject: Subject, window: _Window, ratios: Sequence[MotionRatios]) -> Line:
    """Blanking as a fixed time t: between the bounce window b and the shortest tooth period.

    b <= t <= min T(k), the tooth period at the highest speed under the motion's ripple.
    """
    shortest_s = min(one.shortest_s for one in ratios)
    low = math.inf if window.share else window.us
    high = Bound(US_PER_S * shortest_s, "teeth are hidden at the highest speed")
    return _blanking(subject, "us", "us", low, high, window)


def _blanking(
    subject: Subject, key: str, unit: str, low: float, high: Bound, window: _Window
) -> Line:
    known = window != _Window()
    beyond = "the bounce is counted as a tooth"
    address = f"crank.blanking_{key}"
    other_way = key == "us"
    name = "crank blanking" if key == "percent" else "or, as a time"
    ask = _ask(subject, address, 0, min(1.2 * high.value, 1000))
    bound = Bound(low, beyond) if known and math.isfinite(low) else None
    if low >= high.value:
        endless = "it grows with the period" if math.isinf(low) else f"it takes {low:.3g} {unit}"
        note = f"No blanking hides the bounce and no tooth: {endless}. Cure the bounce first."
        return Line(
            f"blanking_{key}", name, None, unit, bound, high, (note,), ask=ask, other_way=other_way
        )
    notes = () if known else ("No bounce is known of: half of what is allowed.",)
    wanted = math.sqrt(low * high.value) if low else HALF * high.value
    value = _rounded_between(wanted, low, high.value)
    typed = {address: value}
    return Line(f"blanking_{key}", name, value, unit, bound, high, notes, (), ask, typed, other_way)


def _bounce_window(track: Track, subject: Subject) -> _Window:
    """How long the bounces that the bench file knows of reach after a counted edge.

    Pulse i of n begins i delays after its edge and lasts `width_us`. Where it is the other edge of
    a tooth that bounces, the tooth's own length comes before it.
    """
    edge = crank_edge(track, subject.wheel.period)
    windows = [_reach(fault, track, subject.wheel.period, edge) for fault in subject.bounces]
    own = [one for one, fault in zip(windows, subject.bounces, strict=True) if _is_on(fault, track)]
    return _Window(
        max((one.us for one in own), default=0.0), max((one.share for one in own), default=0.0)
    )


def _is_on(fault: Bounce, track: Track) -> bool:
    return fault.track == track.name


def _reach(fault: Bounce, track: Track, period: int, edge: SingleEdge) -> _Window:
    us = float(fault.count * fault.delay_us + fault.width_us)
    share = float(fault.count * fault.delay_percent / 100)
    if fault.after != edge:
        edges = pin_edges(track, period)
        usual = usual_period(edge_periods(pin_edges(track, period, edge), period))
        lengths = [
            (other.angle - one.angle) % period
            for one, other in zip(edges, (*edges[1:], edges[0]), strict=True)
            if one.rises == (edge == "rise")
        ]
        share += float(max(lengths) / usual)
    return _Window(us, share)


def _rounded_between(value: float, low: float, high: float) -> float:
    """A value with as few digits as leave it well within its ends, as a person would type it."""
    for digits in (2, 3, 4, 6):
        rounded = float(f"{value:.{digits}g}")
        if abs(rounded - value) <= 0.1 * min(value - low, high - value):
            return rounded
    return value


def _ask(subject: Subject, address: str, low: float, high: float) -> str:
    """The command that finds the end of a setting, where the bench can change it."""
    if subject.settings is None:
        return ""
    return (
        f"edgewheel threshold BENCH controller.settings.{address} --from {low:.3g} --to {high:.3g}"
    )

"""The cam's lines of the settings sheet, and the reference angle: which turn it is, and where."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from edgewheel.bench.position import tooth_pitch_deg
from edgewheel.controller.sim.low_pass import low_passed
from edgewheel.edges.cam_places import CamPlace, cam_places
from edgewheel.motion.segment import DEG_PER_S_PER_RPM
from edgewheel.search.sheet.crank import US_PER_S, crank_edge, edge_line
from edgewheel.search.sheet.model import Bound, Line, Subject
from edgewheel.search.variant import cam_track
from edgewheel.wheel.landmarks import main_track, reference
from edgewheel.wheel.model import TURN, Track
from edgewheel.wheel.pins import edge_periods, levels_at, pin_edges, reads_level
from edgewheel.wheel.ratios import usual_period
from edgewheel.wheel.wording import reference_words

CYCLE_DEG = 2 * TURN
TURN_DEG = float(TURN)
PASSES = "An edge of the cam passes the reference under these motions: turn cam or reference."


@dataclass(frozen=True)
class _Scene:
    """A cam beside a crank that repeats every turn.

    `reference_deg` is the crank angle of the reference in the turn whose top dead centre is next;
    `places` are the cam's edges after it.
    """

    subject: Subject
    cam: Track
    reference_deg: Fraction
    places: tuple[CamPlace, ...]

    @property
    def counted(self) -> list[CamPlace]:
        """The edges of the recommended way."""
        rises = crank_edge(self.cam, self.subject.wheel.period) == "rise"
        return [place for place in self.places if place.rises == rises]


def cam_lines(subject: Subject) -> Iterator[Line]:
    """Cam edge, how the turns are told apart, and the reference angle."""
    crank, cam = main_track(subject.wheel), cam_track(subject.wheel)
    edge = crank_edge(crank, subject.wheel.period)
    found = reference(subject.wheel)
    at = found.rise if edge == "rise" else found.fall
    second = False
    if cam is not None:
        yield edge_line(subject, cam, "cam")
    if cam is not None and at is not None and crank.shaft == "crank":
        scene = _Scene(subject, cam, at, _places(subject, crank, cam, at))
        lines, second = _phase(scene)
        yield from lines
    if at is not None:
        yield from _reference(subject, at, reference_words(found), second)


def _places(
    subject: Subject, crank: Track, cam: Track, reference_deg: Fraction
) -> tuple[CamPlace, ...]:
    """The cam's edges under all motions together."""
    rises = crank_edge(crank, subject.wheel.period) == "rise"
    together: dict[tuple[bool, float], CamPlace] = {}
    for _, motion in subject.motions:
        for place in cam_places(
            subject.wheel,
            motion,
            crank.name,
            rises,
            cam.name,
            reference_deg,
            subject.limits.least_rpm,
        ):
            key = place.rises, place.nominal_deg
            known = together.get(key, place)
            together[key] = CamPlace(
                *key,
                min(known.earliest_deg, place.earliest_deg),
                max(known.latest_deg, place.latest_deg),
                known.count + place.count,
            )
    return tuple(together.values())


def _phase(scene: _Scene) -> tuple[list[Line], bool]:
    """How the turns are told apart; whether the turn that the cam marks is the second one.

    By the cam's level where the pin shows it and it differs at the two references; else by its one
    edge; else by the number of its edges in each turn.
    """
    at = (scene.reference_deg % CYCLE_DEG, (scene.reference_deg + TURN) % CYCLE_DEG)
    if reads_level(scene.cam):
        # Levels stand from an angle on; a controller reads the cam before it counts the tooth.
        first, other = levels_at(scene.cam, int(CYCLE_DEG), at)
        if first != other:
            level = "high" if first else "low"
            told = {"phase.by": "level", "phase.level": level}
            words = f"{level}, first turn"
            return [_shifting(scene, "cam level", words, scene.places, told)], False
    counted = scene.counted
    if len(counted) == 1:
        return _window(scene, counted[0])
    turns = [sum((place.nominal_deg >= TURN_DEG) == bool(n) for place in counted) for n in (0, 1)]
    if turns[0] != turns[1]:
        typed: dict[str, Any] = {
            "phase.by": "count",
            "phase.first_turn_edges": turns[0],
            "phase.second_turn_edges": turns[1],
        }
        words = f"{turns[0]}, then {turns[1]}"
        return [_shifting(scene, "cam edges a turn", words, counted, typed)], False
    note = f"Neither level nor number of edges of '{scene.cam.name}' tells the turns apart."
    return [Line("cam_phase", "cam phase", None, notes=(note,))], False


def _shifting(
    scene: _Scene, name: str, words: str, places: Sequence[CamPlace], typed: Mapping[str, Any]
) -> Line:
    """A way that works until an edge of the cam passes a reference.

    The cam may come later by the least distance of an edge before a reference, and earlier by that
    of one behind it, each where the motions bring it nearest. Nothing works if they bring an edge
    past a reference themselves, be it for good, for then the turns are not those of the wheel.
    """
    if any(
        _turn(end_deg) != _turn(place.nominal_deg)
        for place in places
        for end_deg in (place.earliest_deg, place.latest_deg)
    ):
        return Line("cam_phase", name, None, notes=(PASSES,))
    later = [(-place.latest_deg) % TURN_DEG for place in places]
    earlier = [place.earliest_deg % TURN_DEG for place in places]
    beyond = "an edge of the cam passes the reference"
    note = "The ends are degrees by which the cam may come otherwise than the wheel says."
    return Line(
        "cam_phase",
        name,
        words,
        "deg",
        Bound(-min(earlier), beyond),
        Bound(min(later), beyond),
        (note,),
        ask=_shift_ask(scene.subject),
        typed=typed,
    )


def _turn(degrees: float) -> int:
    """The turn of the cycle that an angle after the reference is in."""
    return math.floor(degrees / TURN_DEG)


def _window(scene: _Scene, place: CamPlace) -> tuple[list[Line], bool]:
    """The window for the cam's one edge, in degrees after the reference.

    From where the motions bring the edge, each end is put half way to the nearest thing that must
    not lie in the window: the cam's other edges, in either turn, and the reference itself.
    """
    second = place.nominal_deg >= TURN_DEG
    turn_deg = TURN_DEG if second else 0.0
    early, late = place.earliest_deg - turn_deg, place.latest_deg - turn_deg
    if early < 0 or late > TURN_DEG:
        return [Line("cam_window", "cam window", None, "deg", notes=(PASSES,))], second
    others = [(p.earliest_deg % TURN_DEG, p.latest_deg % TURN_DEG) for p in scene.places]
    below = max([0.0, *(last for _, last in others if last < early)])
    above = min([TURN_DEG, *(first for first, _ in others if first > late)])
    notes = [f"The edge comes at {early:.1f} to {late:.1f} deg under these motions."]
    if any(p is not place and _inside(p, early, late) for p in scene.places):
        notes.append(
            "Its other edge comes a turn later at the same place: a wrong edge here shows as 360 "
            "degrees out, not as lost sync."
        )
    hidden = "the edge falls outside the window"
    ends = (Bound(below, _what(below)), Bound(early, hidden))
    begin = _half_way("cam_window_from", "cam window, from", ends, _shift_ask(scene.subject))
    begin = replace(begin, notes=tuple(notes), typed={"phase.by": "edge", **begin.typed})
    ends = (Bound(late, hidden), Bound(above, _what(above)))
    return [begin, _half_way("cam_window_to", "cam window, up to", ends, "")], second


def _half_way(key: str, name: str, ends: tuple[Bound, Bound], ask: str) -> Line:
    value = round((ends[0].value + ends[1].value) / 2, 1)
    typed = {f"{key.replace('cam_', 'phase.')}_deg": value}
    return Line(key, name, value, "deg", *ends, ask=ask, typed=typed)


def _inside(place: CamPlace, early: float, late: float) -> bool:
    return place.earliest_deg % TURN_DEG <= late and place.latest_deg % TURN_DEG >= early


def _what(end_deg: float) -> str:
    if end_deg in (0.0, TURN_DEG):
        return "the window reaches the reference"
    return "the cam's other edge is let in too"


def _reference(subject: Subject, at: Fraction, words: str, second: bool) -> Iterator[Line]:
    """Where top dead centre is, in degrees after the reference.

    Beyond half a tooth pitch, or the bench file's limit, the position counts as wrong.
    """
    if not subject.wheel.tdc:
        note = "The wheel file does not say where top dead centre is. Add 'tdc:'."
        yield Line("reference", "reference angle", None, "deg", notes=(note,))
        return
    (cylinder, first), *_ = subject.wheel.tdc
    whole = subject.wheel.period
    angle = float((first - at + (TURN if second else 0)) % whole)
    limit = subject.limits.position_deg
    margin = float(tooth_pitch_deg(subject.wheel)) / 2 if limit is None else limit
    notes = [f"From the {words} to TDC of cylinder {cylinder}."]
    if second:
        notes.append("Counted from the reference of the turn in which the cam's edge comes.")
    notes += _latency(subject)
    beyond = "sparks count as misplaced"
    order = [cylinder for cylinder, _ in subject.wheel.tdc]
    typed = {
        "engine.tdc_after_reference_deg": angle,
        "engine.firing_order": order,
        "engine.firing_deg": [float((deg - first) % whole) for _, deg in subject.wheel.tdc],
    }
    yield Line(
        "reference",
        "reference angle",
        angle,
        "deg",
        Bound(angle - margin, beyond),
        Bound(angle + margin, beyond),
        tuple(notes),
        ask="edgewheel run BENCH with two speeds held, then edgewheel timing RUN",
        typed=typed,
    )


def _latency(subject: Subject) -> Iterator[str]:
    """How late the reference is behind a reluctor's input, which grows with speed."""
    vr = subject.settings.crank.vr if subject.settings else None
    if vr is None or not vr.time_constant_us:
        return
    track, period = main_track(subject.wheel), subject.wheel.period
    counted = pin_edges(track, period, crank_edge(track, period))
    half_wave_deg = float(usual_period(edge_periods(counted, period))) / 2
    late = []
    for rpm in subject.speeds_rpm():
        deg_per_us = DEG_PER_S_PER_RPM * rpm / US_PER_S
        late_us, _ = low_passed(half_wave_deg / deg_per_us, vr.time_constant_us)
        late.append(f"{late_us * deg_per_us:.2f} degrees at {rpm:.0f} rpm")
    yield (
        f"The input's low-pass makes it late by {' and '.join(dict.fromkeys(late))}: a latency, no "
        "part of this angle."
    )


def _shift_ask(subject: Subject) -> str:
    if not subject.bench:
        return ""
    return "edgewheel threshold BENCH faults.NAME.by_deg, with a fault of the kind 'shifted'"

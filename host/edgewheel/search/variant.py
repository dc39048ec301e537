"""Signals that differ from a bench file's in a few stated ways, to see what a controller makes of
them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from math import ceil

from edgewheel.bench.loader import read_sensors
from edgewheel.bench.plan import Plan, StageTimes
from edgewheel.bench.stages import heard
from edgewheel.fault.signal import signal_of
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import hold, ramp
from edgewheel.wheel.landmarks import main_track
from edgewheel.wheel.model import TURN, PinLevel, Tooth, Track, Wheel

USUAL_RPM = 1000
RUN_UP_RPM_PER_S = 5000
HOLD_S, HOLD_TURNS = Fraction(3, 5), 8
WIDEST = Fraction(3, 5)
FULLEST = Fraction(17, 20)
"""Of a pitch: the width of a tooth on another wheel at most, and of one that was moved."""

STEPS_A_DEG = 100
"""Teeth are eased in steps: powers of a fraction would make the table's numbers huge."""

NOTHING: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Variant:
    """What is different from the bench file; the usual values change nothing but the motion.

    - `pitches`, `missing`: another count on the crank, its first tooth after the gap where the
      wheel's own is;
    - `gap_ratio`: the last tooth before the gap is moved until the gap lasts so many times the
      period before it;
    - `added`: one more tooth halfway between the last and the first;
    - `least_ratio`: teeth after the gap are late until no period is a smaller share of the one
      before it than this;
    - `alternating`: an edge, up or down in turn, where each tooth of the crank begins;
    - `strength`: how many times as strong the crank's signal is;
    - `width`: of a crank tooth, in pitches, from the same beginning;
    - `turned_over`: tracks whose levels are inverted;
    - `cam_teeth`: other teeth on the cam, in degrees of the cam; `cam_later_deg` crank degrees by
      which they come later;
    - `all_later_deg`: crank degrees by which all tracks come later, seen from top dead centre;
    - `exchanged`: each sensor's wire is on the other's input; `half_speed`: the crank's teeth are
      spread over two turns.
    """

    rpm: int = USUAL_RPM
    faults: bool = True
    pitches: int | None = None
    missing: int = 0
    gap_ratio: Fraction | None = None
    added: bool = False
    least_ratio: Fraction | None = None
    alternating: bool = False
    strength: int = 1
    width: Fraction | None = None
    turned_over: frozenset[str] = field(default=NOTHING)
    cam_teeth: tuple[tuple[Fraction, Fraction], ...] | None = None
    cam_later_deg: Fraction = Fraction(0)
    all_later_deg: Fraction = Fraction(0)
    exchanged: bool = False
    half_speed: bool = False

    def turn_over(self, track: str) -> Variant:
        """With one track's levels inverted, or back again."""
        return replace(self, turned_over=self.turned_over ^ {track})


@dataclass(frozen=True)
class CrankPattern:
    """What a track's teeth are, as far as they are even.

    `reference_deg` is where the first tooth after the longest gap begins; `missing` is 0 where all
    are even. `regular`: there is no more to the track than this.
    """

    pitches: int
    missing: int
    reference_deg: Fraction
    width_deg: Fraction
    regular: bool

    @property
    def pitch_deg(self) -> Fraction:
        return TURN / self.pitches


def sensed_wheel(plan: Plan) -> Wheel:
    """The plan's wheel with the sensors that its bench file gives it."""
    node = plan.document.section().nodes.get("sensors")
    sensors = read_sensors(node, plan.wheel)
    tracks = zip(plan.wheel.tracks, sensors, strict=True)
    return replace(plan.wheel, tracks=tuple(replace(track, sensor=s) for track, s in tracks))


def cam_track(wheel: Wheel) -> Track | None:
    """The other track, on the cam if there are several."""
    others = [track for track in wheel.tracks if track is not main_track(wheel)]
    return min(others, key=lambda track: track.shaft != "cam", default=None)


def crank_pattern(track: Track) -> CrankPattern:
    """The pattern of a track, from its shortest and its longest distance."""
    begins = [tooth.begin for tooth in track.teeth]
    distances = [b - a for a, b in pairwise([*begins, begins[0] + TURN])]
    pitch, longest = min(distances), max(distances)
    gap = distances.index(longest)
    reference = begins[(gap + 1) % len(begins)]
    missing = round(longest / pitch) - 1
    pitches = round(TURN / pitch)
    regular = len(begins) == pitches - missing and distances.count(pitch) >= len(begins) - 1
    return CrankPattern(pitches, missing, reference, track.teeth[0].width, regular)


def varied(plan: Plan, variant: Variant, start_deg: Fraction) -> Plan:
    """The plan that plays a variant, from a crank angle."""
    wheel = _wheel(sensed_wheel(plan), variant)
    rpm = Fraction(variant.rpm)
    seconds = HOLD_S + HOLD_TURNS * 60 / rpm
    run_up = ramp(Fraction(0), rpm, rpm_per_s=Fraction(RUN_UP_RPM_PER_S))
    motion = Motion([run_up, hold(rpm, seconds=seconds)], start_deg)
    sensors = heard([track.sensor for track in wheel.tracks], plan.stage)
    faults = plan.signal.faults if variant.faults else {}
    signal = signal_of(wheel, sensors, motion, faults, plan.seed)
    stage = tuple(
        _louder(times, variant.strength) if track.name == main_track(wheel).name else times
        for track, times in zip(wheel.tracks, plan.stage, strict=True)
    )
    return replace(plan, wheel=wheel, signal=signal, stage=stage)


def _louder(times: StageTimes, strength: int) -> StageTimes:
    if times.voltage is None or strength == 1:
        return times
    return replace(times, voltage=times.voltage.times(strength))


def _wheel(wheel: Wheel, variant: Variant) -> Wheel:
    crank, cam = main_track(wheel), cam_track(wheel)
    tracks = {track.name: track for track in wheel.tracks}
    tracks[crank.name] = _stronger(_crank(crank, variant), variant.strength)
    if cam is not None:
        tracks[cam.name] = _cam(cam, variant)
        if variant.exchanged:
            one, other = tracks[crank.name], tracks[cam.name]
            tracks[crank.name] = replace(other, name=crank.name)
            tracks[cam.name] = replace(one, name=cam.name)
    turned = (_later(track, variant.all_later_deg) for track in tracks.values())
    sensed = (
        _turned_over(track) if track.name in variant.turned_over else track for track in turned
    )
    varied = replace(wheel, tracks=tuple(sensed))
    if not (variant.half_speed or variant.alternating):
        return varied
    fired = wheel.firing_order
    tdc = tuple((number, deg) for number in fired for deg in wheel.dead_centres(number))
    return replace(varied, period=720, tdc=tdc)


def _crank(track: Track, variant: Variant) -> Track:
    pattern = crank_pattern(track)
    reference = pattern.reference_deg
    teeth = [
        replace(t, begin=(t.begin - reference) % TURN, end=(t.begin - reference) % TURN + t.width)
        for t in track.teeth
    ]
    teeth.sort(key=lambda tooth: tooth.begin)
    pitch = pattern.pitch_deg
    if variant.pitches is not None:
        pitch = TURN / variant.pitches
        teeth = _even(pitch, variant, pattern.width_deg)
    if variant.width is not None:
        teeth = [Tooth(tooth.begin, tooth.begin + variant.width * pitch) for tooth in teeth]
    if variant.least_ratio is not None:
        begins = eased([tooth.begin for tooth in teeth], variant.least_ratio)
        teeth = [_moved(t, b - t.begin) for t, b in zip(teeth, begins, strict=True)]
    if variant.gap_ratio is not None:
        teeth[-1] = _moved(teeth[-1], _last_tooth_later(teeth, variant.gap_ratio))
    if variant.alternating:
        return replace(track, shaft="cam", teeth=_placed(_alternating(teeth), reference / 2))
    shaft = "cam" if variant.half_speed else track.shaft
    return replace(track, shaft=shaft, teeth=_placed(_apart(teeth), reference))


def _even(pitch: Fraction, variant: Variant, width_deg: Fraction) -> list[Tooth]:
    """The teeth of another count, and the added one halfway behind the last of them."""
    width = min(width_deg, (WIDEST / 2 if variant.added else WIDEST) * pitch)
    begins = [k * pitch for k in range(round(TURN / pitch) - variant.missing)]
    if variant.added:
        begins.append(begins[-1] + pitch / 2)
    return [Tooth(begin, begin + width) for begin in begins]


def eased(begins: Sequence[Fraction], least: Fraction) -> list[Fraction]:
    """Where teeth begin that are late until no period is below `least` of the one before it.

    `begins` are degrees within a turn, the first of them behind the gap.
    """
    late, period = [begins[0]], TURN + begins[0] - begins[-1]
    for begin in begins[1:]:
        earliest = Fraction(ceil((late[-1] + least * period) * STEPS_A_DEG), STEPS_A_DEG)
        late.append(max(begin, earliest))
        period = late[-1] - late[-2]
    return late


def _alternating(teeth: list[Tooth]) -> list[Tooth]:
    """An edge where each tooth begins, up or down in turn, over two turns: degrees of the cam."""
    begins = [(tooth.begin + turn) / 2 for turn in (0, TURN) for tooth in teeth]
    return [Tooth(*ends) for ends in zip(begins[::2], begins[1::2], strict=True)]


def _apart(teeth: list[Tooth]) -> list[Tooth]:
    """Teeth cut to half the way to the next one where they leave it too little air."""
    following = [*teeth[1:], _moved(teeth[0], TURN)]
    return [
        tooth
        if tooth.width <= FULLEST * (after.begin - tooth.begin)
        else Tooth(tooth.begin, (tooth.begin + after.begin) / 2)
        for tooth, after in zip(teeth, following, strict=True)
    ]


def _last_tooth_later(teeth: list[Tooth], ratio: Fraction) -> Fraction:
    """Degrees by which the last tooth must move so that gap over period before it is `ratio`."""
    before = teeth[-1].begin - teeth[-2].begin
    gap = TURN + teeth[0].begin - teeth[-1].begin
    return (gap - ratio * before) / (1 + ratio)


def _cam(track: Track, variant: Variant) -> Track:
    if variant.cam_teeth is not None:
        track = replace(track, teeth=tuple(Tooth(*ends) for ends in variant.cam_teeth))
    return _later(track, variant.cam_later_deg)


def _later(track: Track, crank_deg: Fraction) -> Track:
    if not crank_deg:
        return track
    return replace(
        track, teeth=_placed(track.teeth, crank_deg * TURN / track.crank_degrees_per_turn)
    )


def _placed(teeth: list[Tooth] | tuple[Tooth, ...], by_deg: Fraction) -> tuple[Tooth, ...]:
    """Teeth turned by degrees of their shaft, each beginning within its turn, in order."""
    begins = sorted(((tooth.begin + by_deg) % TURN, tooth.width) for tooth in teeth)
    return tuple(Tooth(begin, begin + width) for begin, width in begins)


def _moved(tooth: Tooth, by_deg: Fraction) -> Tooth:
    return Tooth(tooth.begin + by_deg, tooth.end + by_deg)


def _stronger(track: Track, times: int) -> Track:
    amplitude = track.sensor.amplitude
    if times == 1 or amplitude is None:
        return track
    stronger = replace(amplitude, mv_per_rpm=times * amplitude.mv_per_rpm)
    return replace(track, sensor=replace(track.sensor, amplitude=stronger))


def _turned_over(track: Track) -> Track:
    metal: PinLevel = "low" if track.sensor.metal == "high" else "high"
    return replace(track, sensor=replace(track.sensor, metal=metal))

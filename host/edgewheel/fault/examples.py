"""One example of every fault, on a wheel that is small enough to be drawn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from edgewheel.fault.kinds import KINDS
from edgewheel.fault.loader import read_faults
from edgewheel.fault.signal import SignalPlan, signal_of
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple import CompressionRipple
from edgewheel.motion.segment import hold
from edgewheel.wheel.model import Sensor, Tooth, Track, Wheel
from edgewheel.yamlfile import parse

RPM = Fraction(1000)
CYCLE = Motion([hold(RPM, turns=Fraction(2))])
SLOW = Motion(
    [hold(Fraction(250), turns=Fraction(2), ripple=CompressionRipple(Fraction(1, 3), Fraction(2)))]
)

WORDS: Mapping[str, str] = {
    "dropped_tooth": "track: crank, teeth: [5], every: 2",
    "late_tooth": "track: crank, teeth: [4, 8], deg: 9, from_turn: 1",
    "extra_pulse": "track: crank, teeth: [7], width_us: 700, at_percent: 40",
    "bounce": "track: crank, after: rise, delay_us: 800, width_us: 300, count: 2, every: 3",
    "noise": "tracks: [crank, cam], ignition_deg: 10, width_us: 350, pulses: 3, gap_us: 350",
    "jitter": "track: crank, deg: 5",
    "weak_signal": (
        "track: crank, peak_mv_at_1000_rpm: 1200, threshold_mv: 280, runout_percent: 20, "
        "strongest_deg: 90"
    ),
    "loose": "track: crank, lasts_ms: 9, breaks_per_s: 18, shows: high",
    "lost": "track: cam, shows: high, from_turn: 0.8",
    "polarity": "track: crank, from_turn: 1",
    "swapped": "track: crank, other: cam, from_turn: 1.2",
    "wandering": "track: cam, range_deg: 40, period_s: 0.15",
    "missing_tooth": "track: crank, teeth: [5]",
    "bent_tooth": "track: crank, teeth: [5], by_deg: 7",
    "worn_teeth": "track: crank, leading_deg: 5, teeth: [2, 3, 4]",
    "eccentric": "track: crank, offset_percent: 12, towards_deg: 90",
    "shifted": "track: cam, by_deg: 30",
    "leads_reversed": "track: crank",
    "false_start": "track: crank, teeth: 4, rpm: 400, pause_s: 0.05",
    "flips": "flips: [[crank, 10000, 12500], [crank, 71000, 71500], [cam, 20000, 23000]]",
}
"""What an example's section of a bench file says beside its kind."""

_SLOW = ("weak_signal",)
_VR = ("weak_signal", "leads_reversed")


@dataclass(frozen=True)
class Example:
    """A fault with the signal of a sound wheel and the faulty one, both with the same seed."""

    kind: str
    words: str
    sound: SignalPlan
    faulty: SignalPlan

    @property
    def meaning(self) -> str:
        """The first sentence of the fault's description."""
        return description(self.kind).partition("\n\n")[0].replace("\n", " ")

    @property
    def line(self) -> str:
        """Its line in the `faults:` of a bench file."""
        return f"{self.kind}: {{kind: {self.kind}, {self.words}}}"


def description(kind: str) -> str:
    """What a kind of fault means, as its docstring says."""
    lines = (KINDS[kind].__doc__ or "").splitlines()
    return "\n".join(line.strip() for line in lines).strip()


def example(kind: str) -> Example:
    """The example of a kind of fault."""
    wheel = example_wheel(kind)
    sensors = [track.sensor for track in wheel.tracks]
    motion = SLOW if kind in _SLOW else CYCLE
    node = parse(f"{{{kind}: {{kind: {kind}, {WORDS[kind]}}}}}", kind)
    faults = read_faults(node, wheel, sensors)
    return Example(
        kind,
        WORDS[kind],
        signal_of(wheel, sensors, motion, {}),
        signal_of(wheel, sensors, motion, faults),
    )


def example_wheel(kind: str) -> Wheel:
    """Twelve pitches with one tooth missing, and a cam tooth of most of a crank turn."""
    pitch = Fraction(30)
    crank = Track(
        "crank",
        "crank",
        Sensor("vr" if kind in _VR else "hall"),
        tuple(Tooth(k * pitch, (k + Fraction(1, 2)) * pitch) for k in range(11)),
    )
    cam = Track("cam", "cam", Sensor(), (Tooth(Fraction(20), Fraction(170)),))
    tdc = tuple((cylinder, Fraction(84 + 180 * n)) for n, cylinder in enumerate((1, 3, 4, 2)))
    wheel = Wheel("Twelve minus one, one cam tooth", "", 720, (crank, cam), tdc)
    return replace(wheel, summary="eleven crank teeth and a gap, one cam tooth")

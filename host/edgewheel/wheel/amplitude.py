"""The `amplitude:` of a VR sensor, in wheel files and bench files."""

from __future__ import annotations

from fractions import Fraction

from edgewheel.wheel.model import TURN, Amplitude, SensorKind
from edgewheel.yamlfile import Node, Section

HIGHEST_MV = 10**6
HIGHEST_RPM = 10**5


def read_amplitude(node: Node, kind: SensorKind) -> Amplitude:
    """A VR sensor's strength against speed. Raises FileError, also for another kind of sensor."""
    if kind != "vr":
        remedy = "Write 'kind: vr', or leave 'amplitude' out."
        raise node.refuse("only a VR sensor's amplitude depends on speed", remedy)
    section = node.section()
    mv_per_rpm = section.required("mv_per_rpm").number(above=0, maximum=HIGHEST_MV)
    threshold = section.optional("threshold_mv")
    threshold_mv = threshold.number(above=0, maximum=HIGHEST_MV) if threshold else None
    knee = section.optional("knee_rpm")
    knee_rpm = knee.number(above=0, maximum=HIGHEST_RPM) if knee else None
    run_out = _optional(section, "run_out", Fraction(1))
    closest_at = _optional(section, "closest_at", TURN)
    section.finish()
    highest_mv = mv_per_rpm * knee_rpm * (1 + run_out) if knee_rpm is not None else None
    if knee and threshold_mv and highest_mv is not None and highest_mv < threshold_mv:
        raise knee.refuse(
            f"the amplitude never reaches the threshold of {float(threshold_mv):g} mV",
            "Raise 'knee_rpm' or 'mv_per_rpm', or lower 'threshold_mv'.",
        )
    return Amplitude(mv_per_rpm, threshold_mv, knee_rpm, run_out, closest_at)


def _optional(section: Section, key: str, below: Fraction) -> Fraction:
    node = section.optional(key)
    return node.number(0, below=below) if node else Fraction(0)

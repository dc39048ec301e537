"""The `stage:` of a bench file: what lies between the board and the controller, track by track."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from edgewheel.bench.plan import StageTimes
from edgewheel.bench.voltages import Voltage, voltage_of
from edgewheel.board.stage_store import (
    LONGEST_DELAY_US,
    KnownStage,
    KnownVoltage,
    simulated,
    simulated_voltage,
)
from edgewheel.wheel.model import Sensor
from edgewheel.yamlfile import Node, Section

HIGHEST_MV = 100_000
HIGHEST_CORNER_HZ = 15
"""A board makes up for no higher one."""

WIRES = KnownStage(False, Fraction(0), Fraction(0), "the bench file")


def read_stage(
    node: Node | None, tracks: tuple[str, ...], sensors: Sequence[Sensor]
) -> tuple[StageTimes, ...]:
    """The stage of every track; without one, wires. Raises FileError."""
    if node is None:
        return (StageTimes(),) * len(tracks)
    section = node.section()
    stage = tuple(
        _read_times(section.optional(track), sensor)
        for track, sensor in zip(tracks, sensors, strict=True)
    )
    section.finish()
    return stage


def heard(sensors: Sequence[Sensor], stage: Sequence[StageTimes]) -> tuple[Sensor, ...]:
    """The sensors as the signal is made from them: where the board plays a voltage, what is too
    weak is for the controller to find.
    """
    return tuple(
        sensor if times.voltage is None else replace(sensor, amplitude=None)
        for sensor, times in zip(sensors, stage, strict=True)
    )


def _read_times(node: Node | None, sensor: Sensor) -> StageTimes:
    if node is None:
        return StageTimes()
    section = node.section()
    vr_output = _vr_output(section)
    usual, known = _usual(section, vr_output is not None)
    inverts_node = section.optional("inverts")
    rise = section.optional("rise_us")
    fall = section.optional("fall_us")
    inverts = inverts_node.flag() if inverts_node else usual.inverts
    times = StageTimes(
        inverts,
        rise.number(0, LONGEST_DELAY_US) if rise else usual.rise_us,
        fall.number(0, LONGEST_DELAY_US) if fall else usual.fall_us,
        origin=usual.origin,
    )
    if vr_output is not None:
        if times.rise_us != times.fall_us:
            raise vr_output.refuse(
                "a VR output is a voltage, which is late by one time",
                "Write the same 'rise_us' and 'fall_us'.",
            )
        times = replace(times, voltage=_read_voltage(vr_output, section, sensor, known))
    section.finish()
    return times


def _vr_output(section: Section) -> Node | None:
    """The `output` of a track that is played as a voltage."""
    output = section.optional("output")
    return output if output is not None and output.choice(("hall", "vr")) == "vr" else None


def _usual(section: Section, is_vr: bool) -> tuple[KnownStage, KnownVoltage | None]:
    """What the stage is taken to be where the bench file gives no numbers of its own."""
    rail, leads = section.optional("rail"), section.optional("leads")
    if leads is not None:
        if rail is not None or not is_vr:
            raise leads.refuse(
                "only a VR output has leads that are grounded or floating",
                "Write 'output: vr' beside it, and no 'rail'.",
            )
        known = simulated_voltage(leads)
        return known.stage, known
    if rail is not None:
        return simulated(rail, section.required("pull_up")), None
    return WIRES, None


def _read_voltage(
    output: Node, section: Section, sensor: Sensor, known: KnownVoltage | None
) -> Voltage:
    """What the board makes of a VR sensor."""
    amplitude = sensor.amplitude
    if sensor.kind != "vr" or amplitude is None:
        raise output.refuse(
            "only the signal of a VR sensor of known amplitude can be played as a voltage",
            "Write 'sensors: {TRACK: {kind: vr, amplitude: {mv_per_rpm: 2}}}'.",
        )
    scale, corner = section.optional("full_scale_mv"), section.optional("corner_hz")
    if known is not None and scale is None:
        full_scale_mv = known.full_scale_mv
    else:
        full_scale_mv = section.required("full_scale_mv").number(above=0, maximum=HIGHEST_MV)
    if corner is not None:
        corner_hz = corner.number(0, HIGHEST_CORNER_HZ)
    else:
        corner_hz = known.corner_hz if known is not None else Fraction(0)
    return voltage_of(output, amplitude, full_scale_mv, corner_hz)

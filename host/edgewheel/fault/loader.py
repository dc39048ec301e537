"""The `faults:` of a bench file: named, so that any number in one has an address."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from edgewheel.fault.flips import Flips
from edgewheel.fault.kinds import KINDS
from edgewheel.fault.lines import Polarity, SwappedTracks
from edgewheel.fault.metal import LeadsReversed
from edgewheel.fault.model import Complaint, Fault
from edgewheel.fault.noise import Noise
from edgewheel.fault.reading import read_fields, read_flips
from edgewheel.fault.weak import WeakSignal, WeakVoltage
from edgewheel.wheel.model import Sensor, Wheel
from edgewheel.yamlfile import Node


def read_faults(
    node: Node, wheel: Wheel, sensors: Sequence[Sensor], voltages: Collection[str] = ()
) -> dict[str, Fault]:
    """Faults by name, in the order in which they apply; `off: true` leaves one out.

    `sensors` in the order of the wheel's tracks; `voltages` names the tracks that the board plays
    as voltages. Raises FileError.
    """
    section = node.section()
    faults: dict[str, Fault] = {}
    for name in section.nodes:
        fault_node = section.required(name)
        off = fault_node.section().optional("off")
        fault = _read_fault(fault_node, wheel, sensors)
        if (complaint := _voltage_complaint(fault, voltages)) is not None:
            raise fault_node.refuse(*complaint)
        if off is None or not off.flag():
            faults[name] = _as_voltage(fault_node, fault, wheel, sensors, voltages)
    return faults


def _read_fault(node: Node, wheel: Wheel, sensors: Sequence[Sensor]) -> Fault:
    section = node.section()
    section.optional("off")
    kind = KINDS[section.required("kind").choice(tuple(KINDS))]
    if kind is Flips:
        fault: Fault = read_flips(section, wheel)
    else:
        fault = read_fields(section, kind, wheel)
    section.finish()
    complaint = _complaint(fault, wheel, sensors)
    if complaint is not None:
        raise node.refuse(*complaint)
    return fault


def _as_voltage(
    node: Node, fault: Fault, wheel: Wheel, sensors: Sequence[Sensor], voltages: Collection[str]
) -> Fault:
    """The fault as it is on the tracks that are played as voltages. Raises FileError."""
    if not isinstance(fault, WeakSignal) or fault.track not in voltages:
        return fault
    names = [track.name for track in wheel.tracks]
    amplitude = sensors[names.index(fault.track)].amplitude
    assert amplitude is not None
    weak = WeakVoltage.of(fault, amplitude.mv_per_rpm)
    if weak.strongest > 1:
        raise node.refuse(
            f"its teeth are {float(weak.strongest):g} times as strong as the sensor's own",
            f"Write at most {float(amplitude.mv_per_rpm * 1000):g} mV at 1000 rpm, run-out "
            "included, or raise the sensor's 'mv_per_rpm'.",
        )
    return weak


def _voltage_complaint(fault: Fault, voltages: Collection[str]) -> Complaint | None:
    """What a fault of levels cannot do to a voltage, whose half-waves have their shapes from the
    wheel and the leads of the sensor.
    """
    if isinstance(fault, Polarity) and fault.track in voltages:
        return (
            f"'{fault.track}' is played as a voltage, which turns over when its leads do",
            "Write 'kind: leads_reversed', or leave 'output: vr' out of the stage.",
        )
    if isinstance(fault, SwappedTracks):
        for track in (fault.track, fault.other):
            if track in voltages:
                return (
                    f"'{track}' is played as a voltage, which cannot take another track's place",
                    "Change the two tracks' names over in the wheel file, in 'sensors' and in "
                    "'stage', or leave 'output: vr' out of the stage.",
                )
    return None


def _complaint(fault: Fault, wheel: Wheel, sensors: Sequence[Sensor]) -> Complaint | None:
    """What is wrong with a fault by itself, or on this wheel."""
    own: Complaint | None = fault.complaint() if hasattr(fault, "complaint") else None
    if own is not None:
        return own
    if isinstance(fault, LeadsReversed):
        kinds: Mapping[str, str] = {
            track.name: sensor.kind for track, sensor in zip(wheel.tracks, sensors, strict=True)
        }
        if kinds[fault.track] != "vr":
            remedy = "Write 'kind: polarity', or 'kind: vr' for its sensor."
            return f"the sensor of '{fault.track}' is no VR sensor", remedy
    if isinstance(fault, Noise) and fault.ignition_deg is not None and not wheel.tdc:
        remedy = "Add 'tdc:' to the wheel file, or write bursts_per_s instead."
        return "the wheel file does not say where its cylinders ignite", remedy
    return None

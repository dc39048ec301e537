"""Faults that lie ready beside those of the bench file: one of each kind that the wheel allows."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace

from edgewheel.bench.half_wave_numbers import PAST_OUTPUT
from edgewheel.errors import EdgewheelError
from edgewheel.fault.loader import read_faults
from edgewheel.wheel.landmarks import main_track
from edgewheel.wheel.model import Sensor, Wheel
from edgewheel.yamlfile import Node, parse

SPARES = {
    "bounce": "{{kind: bounce, track: {crank}, after: rise, delay_us: 40, width_us: 40}}",
    "extra_pulse": "{{kind: extra_pulse, track: {crank}, teeth: [5], width_us: 60}}",
    "dropped_tooth": "{{kind: dropped_tooth, track: {crank}, teeth: [5]}}",
    "late_tooth": "{{kind: late_tooth, track: {crank}, teeth: [5], deg: 0.8}}",
    "noise": (
        "{{kind: noise, tracks: [{crank}], bursts_per_s: 20, width_us: 30, pulses: 3, gap_us: 60}}"
    ),
    "jitter": "{{kind: jitter, track: {crank}, deg: 0.3}}",
    "weak_signal": (
        "{{kind: weak_signal, track: {crank}, peak_mv_at_1000_rpm: {half_mv}, threshold_mv: 1}}"
    ),
    "loose": "{{kind: loose, track: {crank}, lasts_ms: 5, breaks_per_s: 1, shows: high}}",
    "lost_crank": "{{kind: lost, track: {crank}, shows: high}}",
    "lost_cam": "{{kind: lost, track: {cam}, shows: high}}",
    "polarity": "{{kind: polarity, track: {crank}}}",
    "swapped": "{{kind: swapped, track: {crank}, other: {cam}}}",
    "wandering": "{{kind: wandering, track: {cam}, range_deg: 10, period_s: 2}}",
    "missing_tooth": "{{kind: missing_tooth, track: {crank}, teeth: [5]}}",
    "bent_tooth": "{{kind: bent_tooth, track: {crank}, teeth: [5], by_deg: 0.8}}",
    "worn_teeth": "{{kind: worn_teeth, track: {crank}, leading_deg: 0.5}}",
    "eccentric": "{{kind: eccentric, track: {crank}, offset_percent: 1, towards_deg: 90}}",
    "shifted_cam": "{{kind: shifted, track: {cam}, by_deg: 15}}",
    "leads_reversed": "{{kind: leads_reversed, track: {crank}}}",
}
"""What each says, before the wheel's own tracks stand in it, and half the voltage of a crank that
is played as one. Faults made for one motion from its start (`false_start`, `flips`) are none that a
person could switch.
"""


def with_spares(
    document: Node, wheel: Wheel, sensors: tuple[Sensor, ...], voltages: Collection[str]
) -> Node:
    """The bench file's tree with the spare faults behind its own, all of them off.

    `voltages` names the tracks that are played as voltages.
    """
    section = document.section().nodes
    own = section["faults"].section().nodes if "faults" in section else {}
    spares = {name: node for name, node in _spares(wheel, sensors, voltages) if name not in own}
    faults = Node(document.place, {**own, **spares})
    return replace(document, content={**section, "faults": faults})


def _spares(
    wheel: Wheel, sensors: tuple[Sensor, ...], voltages: Collection[str]
) -> Iterator[tuple[str, Node]]:
    stands = _stands(wheel, sensors, voltages)
    for name, words in SPARES.items():
        try:
            text = words.format_map(stands)
        except KeyError:
            continue
        node = parse(f"{text[:-1]}, off: true}}", "spare fault")
        if suits(name, node, wheel, sensors, voltages):
            yield name, node


def _stands(
    wheel: Wheel, sensors: tuple[Sensor, ...], voltages: Collection[str]
) -> dict[str, object]:
    """What stands in the words of `SPARES` on this wheel; what it has not is not there."""
    names = [track.name for track in wheel.tracks]
    crank = main_track(wheel).name
    stands: dict[str, object] = {"crank": crank}
    if others := [name for name in names if name != crank]:
        stands["cam"] = others[0]
    amplitude = sensors[names.index(crank)].amplitude
    # The strengths of each voltage take an output, and a spare fault must keep nobody from playing.
    has_room = len(names) + len(voltages) <= PAST_OUTPUT
    if amplitude is not None and crank in voltages and has_room:
        stands["half_mv"] = amplitude.mv_per_rpm * 1000 / 2
    return stands


def suits(
    name: str,
    node: Node,
    wheel: Wheel,
    sensors: tuple[Sensor, ...],
    voltages: Collection[str] = (),
) -> bool:
    """Whether the wheel has the teeth and the kind of sensor for it."""
    try:
        read_faults(Node(node.place, {name: node}), wheel, sensors, voltages)
    except EdgewheelError:
        return False
    return True

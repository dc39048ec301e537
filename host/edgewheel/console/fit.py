"""The simulated controller, set for another wheel as the settings sheet says."""

from __future__ import annotations

import json
from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import hold, ramp
from edgewheel.search.sheet.make import sheet_of, wheel_subject
from edgewheel.wheel.landmarks import main_track
from edgewheel.wheel.model import Wheel
from edgewheel.yamlfile import Node, parse

IDLE = Motion(
    [
        ramp(Fraction(0), Fraction(850), rpm_per_s=Fraction(3000)),
        hold(Fraction(850), seconds=Fraction(2)),
    ]
)
"""The motion that the sheet is asked for."""

KEPT = ("speed", "ignition", "injection", "tacho", "report")
"""What a controller is set to beside the wheel stays as it was."""


def fitted(wheel: Wheel, before: Node) -> Node | None:
    """Settings of a simulated controller for a wheel, with what is no matter of the wheel kept.

    None where the sheet does not name the kind of wheel: then its settings are left alone.
    """
    typed = sheet_of(wheel_subject(wheel, ("idle", IDLE))).typed()
    if "wheel.kind" not in typed:
        return None
    main = main_track(wheel).name
    others = [track.name for track in wheel.tracks if track.name != main]
    typed = {_address(address, main, others): value for address, value in typed.items()}
    has_phase = any(address.startswith("phase.") for address in typed)
    typed["crank.line"] = main
    if has_phase and others:
        typed["cam.line"] = others[0]
    elif not has_phase:
        typed = {key: value for key, value in typed.items() if not key.startswith("cam.")}
        typed["phase.by"] = "none"
    settings = parse(json.dumps(_nested(typed)), "fitted settings")
    kept = {key: node for key, node in before.section().nodes.items() if key in KEPT}
    if typed.get("phase.by") == "none":
        kept["ignition"] = _in_both_turns(kept.get("ignition"), before, wheel)
    return Node(before.place, {**settings.section().nodes, **kept})


def _in_both_turns(ignition: Node | None, before: Node, wheel: Wheel) -> Node:
    """Without the phase a coil serves the two cylinders a turn apart, or one coil serves all."""
    own = ignition.section().nodes if ignition else {}
    coils = "one" if len(wheel.tdc) % 2 else "pairs"
    return Node(before.place, {**own, "coils": Node(before.place, coils)})


def _address(address: str, main: str, others: list[str]) -> str:
    """The sheet names inputs by their tracks, the controller by what they are to it."""
    head, _, rest = address.partition(".")
    if head == main:
        return f"crank.{rest}"
    return f"cam.{rest}" if head in others[:1] else address


def _nested(typed: Mapping[str, Any]) -> dict[str, Any]:
    tree: dict[str, Any] = {}
    for address, value in typed.items():
        head, _, key = address.partition(".")
        tree.setdefault(head, {})[key] = value
    return tree

"""What the simulated controller's words and wires mean, so that no bench file must say it."""

from __future__ import annotations

from dataclasses import replace

from edgewheel.bench.outputs import sparks_of
from edgewheel.bench.plan import ControllerChoice, SimulatedController
from edgewheel.bench.signals import OutputLine, Signals
from edgewheel.controller.listening import Obd
from edgewheel.controller.sim.engine import coil_angles, top_dead_centres
from edgewheel.controller.sim.settings import (
    AddedTooth,
    ControllerSettings,
    EvenTeeth,
    MissingTeeth,
    ToothPerCylinder,
)


def default_signals(controller: ControllerChoice) -> Signals:
    """The signals of a simulated controller; a real one's are left for the bench file to name."""
    usual = Signals()
    if isinstance(controller.listening, Obd):
        # Mode 01 tells nothing of sync.
        usual = replace(usual, sync="", losses="", reason="")
    if not isinstance(controller, SimulatedController):
        return usual
    settings = controller.settings
    outputs = _outputs(settings)
    return replace(usual, synced=_synced(settings), sparks=sparks_of(outputs), outputs=outputs)


def _synced(settings: ControllerSettings) -> tuple[str, ...]:
    """The words that mean as much sync as these settings can give."""
    wheel = settings.wheel
    if isinstance(wheel, ToothPerCylinder):
        return ("firing",)
    needs_phase = (isinstance(wheel, MissingTeeth | AddedTooth) and wheel.shaft == "crank") or (
        isinstance(wheel, EvenTeeth) and wheel.mark_every == "crank"
    )
    return ("crank", "full") if needs_phase and settings.phase.by == "none" else ("full",)


def _outputs(settings: ControllerSettings) -> dict[str, OutputLine]:
    """Each output with the cylinders whose top dead centre it works for."""
    tdc = top_dead_centres(settings.engine)
    outputs: dict[str, OutputLine] = {}
    if settings.ignition is not None:
        cylinder_at = {angle % 720: number for number, angle in tdc.items()}
        for name, angles in coil_angles(settings.ignition, tdc).items():
            places = (angle % 720 for angle in angles)
            fired = tuple(cylinder_at[place] for place in places if place in cylinder_at)
            outputs[name] = OutputLine("ignition", fired, settings.ignition.active)
    if settings.injection is not None:
        active, end_deg = settings.injection.active, settings.injection.end_before_tdc_deg
        for number in tdc:
            outputs[f"injector_{number}"] = OutputLine("injection", (number,), active, end_deg)
    if settings.tacho is not None:
        pulses = settings.tacho.pulses_a_turn
        outputs["tacho"] = OutputLine("tacho", pulses_a_turn=pulses)
    return outputs

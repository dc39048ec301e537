"""What the simulated controller's words and wires mean, so that no bench file must say it."""

from __future__ import annotations

from edgewheel.bench.plan import ControllerChoice, SimulatedController
from edgewheel.bench.signals import Signals, SparkLine
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
    if not isinstance(controller, SimulatedController):
        return Signals()
    settings = controller.settings
    return Signals(synced=_synced(settings), sparks=_spark_lines(settings))


def _synced(settings: ControllerSettings) -> tuple[str, ...]:
    """The words that mean as much sync as these settings can give."""
    wheel = settings.wheel
    if isinstance(wheel, ToothPerCylinder):
        return ("firing",)
    needs_phase = (isinstance(wheel, MissingTeeth | AddedTooth) and wheel.shaft == "crank") or (
        isinstance(wheel, EvenTeeth) and wheel.mark_every == "crank"
    )
    return ("crank", "full") if needs_phase and settings.phase.by == "none" else ("full",)


def _spark_lines(settings: ControllerSettings) -> dict[str, SparkLine]:
    """Each coil output with the cylinders whose top dead centre it fires for."""
    ignition = settings.ignition
    if ignition is None:
        return {}
    cylinder_at = {angle % 720: n for n, angle in top_dead_centres(settings.engine).items()}
    return {
        name: SparkLine(
            tuple(cylinder_at[angle % 720] for angle in angles if angle % 720 in cylinder_at),
            "fall" if ignition.active == "high" else "rise",
        )
        for name, angles in coil_angles(ignition, top_dead_centres(settings.engine)).items()
    }

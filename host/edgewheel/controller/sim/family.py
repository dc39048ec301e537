"""The decoder that the settings ask for."""

from __future__ import annotations

from edgewheel.controller.sim.decoder import Decoder
from edgewheel.controller.sim.patterns import (
    AddedToothDecoder,
    EvenTeethDecoder,
    MissingToothDecoder,
    ToothPerCylinderDecoder,
)
from edgewheel.controller.sim.phase import cam_phase
from edgewheel.controller.sim.settings import (
    AddedTooth,
    ControllerSettings,
    EvenTeeth,
    MissingTeeth,
    ToothPerCylinder,
    UnevenWindows,
)
from edgewheel.controller.sim.windows import DiscDecoder, WindowsDecoder


def decoder_for(settings: ControllerSettings) -> Decoder:
    """A decoder of the family of the wheel that is set."""
    wheel, sync = settings.wheel, settings.sync
    if isinstance(wheel, MissingTeeth):
        return MissingToothDecoder(wheel, sync, cam_phase(settings.phase))
    if isinstance(wheel, AddedTooth):
        return AddedToothDecoder(wheel, sync, cam_phase(settings.phase))
    if isinstance(wheel, EvenTeeth):
        return EvenTeethDecoder(wheel, sync)
    if isinstance(wheel, ToothPerCylinder):
        return ToothPerCylinderDecoder(wheel, sync)
    if isinstance(wheel, UnevenWindows):
        return WindowsDecoder(wheel, sync)
    return DiscDecoder(wheel, sync)

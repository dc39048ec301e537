"""The simulated controller: a unit under test of our own, with the limits that real ones have."""

from edgewheel.controller.sim.controller import Output, SimController
from edgewheel.controller.sim.reading import read_settings
from edgewheel.controller.sim.scheduler import Pulse
from edgewheel.controller.sim.settings import ControllerSettings

__all__ = ["ControllerSettings", "Output", "Pulse", "SimController", "read_settings"]

"""The `controller:` of a bench file: on a serial port, on CAN, by OBD, or simulated."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from edgewheel.bench.plan import (
    CanController,
    ControllerChoice,
    SerialController,
    SimulatedController,
)
from edgewheel.controller.listening import CanListening, CanMessages, Lines, Obd, Records
from edgewheel.controller.sim.settings import ControllerSettings
from edgewheel.yamlfile import Node, Section, parse

ControllerKind = Literal["sim", "serial", "can", "obd"]
CONTROLLER_KINDS: tuple[ControllerKind, ...] = ("sim", "serial", "can", "obd")
ASK_EVERY_MS = 40.0


def read_real_controller(
    kind: ControllerKind, section: Section, folder: Path
) -> tuple[ControllerChoice, tuple[Path, ...]]:
    """The controller, and the files it was read from. Raises FileError."""
    from edgewheel.controller import listening_wording as wording

    if kind == "serial":
        port, baud = section.required("port").text(), section.optional("baud")
        rate = baud.integer(50, 10**7) if baud else 115_200
        serial = SerialController(port, rate, wording.read_serial_listening(section))
        section.finish()
        return serial, ()
    interface, channel = section.required("interface").text(), section.required("channel").text()
    bitrate_node = section.optional("bitrate")
    bitrate = bitrate_node.integer(10_000, 1_000_000) if bitrate_node else 500_000
    files: tuple[Path, ...] = ()
    listening: CanListening
    if kind == "obd":
        listening = wording.read_obd_listening(section)
    else:
        listening, file = wording.read_can_listening(section, folder)
        files = (file,)
    section.finish()
    return CanController(interface, channel, bitrate, listening), files


def simulated_controller(settings: ControllerSettings) -> SimulatedController:
    """The simulated controller, listened to in the way in which it is set to speak."""
    report = settings.report
    if report.speaks == "text" and not report.asked:
        return SimulatedController(settings)
    from edgewheel.controller.asking import Request

    request = Request(b"?\r\n", ASK_EVERY_MS) if report.asked else None
    if report.speaks == "text":
        return SimulatedController(settings, Lines(request=request))
    if report.speaks == "records":
        from edgewheel.controller.listening_wording import read_layout

        return SimulatedController(settings, Records(read_layout(_sim_layout()), request))
    if report.speaks == "can":
        from edgewheel.controller.sim.speaks_can import DBC

        return SimulatedController(settings, CanMessages(DBC))
    from edgewheel.controller.obd import PIDS, ObdAddress

    return SimulatedController(settings, Obd(ObdAddress(), tuple(PIDS)))


def _sim_layout() -> Node:
    from edgewheel.controller.sim.speaks_records import LAYOUT

    return parse(LAYOUT, "the simulated controller's record")

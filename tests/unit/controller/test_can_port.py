"""A CAN bus on which nobody listens is a silent controller, not a lost interface."""

import time

import can

from edgewheel.clock import WallClock
from edgewheel.controller.can_port import CanPort
from edgewheel.controller.listener import Listener
from edgewheel.controller.obd import ObdAddress, ObdReader


def test_requests_that_nobody_acknowledges_stay_unanswered(monkeypatch):
    def full(*_, **__):
        raise can.CanOperationError("Transmit buffer full")

    port = CanPort("virtual", "fan 3", 500_000)
    monkeypatch.setattr(port._bus, "send", full)
    reader = ObdReader(ObdAddress(), (0x0C,), 5)
    listener = Listener(lambda: port, reader, WallClock())
    listener.open()
    while not reader.tally().get("unanswered"):
        assert not listener.away
        assert listener.events() == []
        time.sleep(0.002)
    listener.close()
    assert "port_came_back" not in listener.tally()

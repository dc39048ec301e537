"""CAN, OBD-II and ISO-TP held against standards and the libraries that are kept for them.

The simulated controller packs its frames by hand; cantools and can-isotp, which did not write them,
must read them, and the readers must read what those libraries write.
"""

import time

import cantools
import isotp
import pytest

from edgewheel.controller.can_signals import CanReader
from edgewheel.controller.obd import decode_current_data
from edgewheel.controller.reader import CanFrame
from edgewheel.controller.sim.report import Reading
from edgewheel.controller.sim.settings import ReportSettings
from edgewheel.controller.sim.speaks_can import DBC, SPEED_ID, STATE_ID, frames
from edgewheel.controller.sim.speaks_obd import ObdSpeaker, answer

DATABASE = cantools.database.load_string(DBC, "dbc")


@pytest.mark.parametrize(
    ("data", "field", "value"),
    [
        # SAE J1979 / ISO 15031-5, PID 0C: engine speed = (256 A + B) / 4, 0 to 16,383.75 rpm.
        ("0C 1A F8", "rpm", 1726.0),
        ("0C FF FF", "rpm", 16_383.75),
        ("0C 00 00", "rpm", 0.0),
        # PID 0E: timing advance = A / 2 - 64, -64 to 63.5 degrees before TDC of cylinder 1.
        ("0E 00", "advance", -64.0),
        ("0E 80", "advance", 0.0),
        ("0E FF", "advance", 63.5),
        # PID 01: bit 7 of A is the lamp, bits 0 to 6 the number of confirmed codes.
        ("01 83 07 FF 00", "codes", 3.0),
        ("01 7F 00 00 00", "codes", 127.0),
    ],
)
def test_j1979_scaling(data, field, value):
    """SAE J1979, appendix of PIDs; values from memory of its tables."""
    assert decode_current_data(bytes.fromhex(data)) == {field: value}


@pytest.mark.parametrize("rpm", [0.0, 249.75, 3000.25, 16_383.75])
@pytest.mark.parametrize("advance", [-10.0, 0.0, 35.5])
def test_the_controllers_frames_are_what_cantools_would_write(rpm, advance):
    reading = Reading(0.0, rpm, "crank", 300, 7, True, advance, "")
    speed, state = frames(reading)
    assert speed.data == DATABASE.encode_message(
        SPEED_ID, {"rpm": rpm, "advance": advance, "cut": 1}
    )
    assert state.data == DATABASE.encode_message(
        STATE_ID, {"sync": "crank", "losses": 300, "overruns": 7}
    )
    fields = CanReader(DATABASE).feed(CanFrame(SPEED_ID, speed.data), 0)[0].fields
    assert fields == {
        name: float(v) for name, v in DATABASE.decode_message(SPEED_ID, speed.data).items()
    }


def test_iso_tp_of_the_controller_talks_to_can_isotp():
    """An answer of 11 bytes takes a first frame, flow control and a consecutive frame."""
    reading = Reading(0.0, 1726.0, "full", 1, 0, False, 12.5, "")
    speaker = ObdSpeaker(ReportSettings(speaks="obd"), 1_000_000_000)
    came, now = [], [0]

    def send(message):
        speaker.ask(now[0], CanFrame(message.arbitration_id, bytes(message.data)), reading)

    def receive(_):
        if not came:
            return None
        frame = came.pop(0)
        return isotp.CanMessage(arbitration_id=frame.id, data=frame.data, dlc=len(frame.data))

    address = isotp.Address(isotp.AddressingMode.Normal_11bits, txid=0x7E0, rxid=0x7E8)
    stack = isotp.TransportLayerLogic(receive, send, address, params={"tx_padding": 0})
    request = bytes((1, 0x0C, 0x0E, 0x01))
    stack.send(request)
    got, seen = None, 0
    deadline = time.monotonic() + 5
    while got is None and time.monotonic() < deadline:
        now[0] += 1_000_000
        stack.process()
        fresh = [frame for _, frame in speaker.sent(now[0])]
        seen += len(fresh)
        came += fresh
        got = stack.recv()
    assert got == answer(request, reading)
    assert (len(got), seen) == (11, 2)
    fields = decode_current_data(bytes(got[1:]))
    assert fields == {"rpm": 1726.0, "advance": 12.5, "codes": 1.0}

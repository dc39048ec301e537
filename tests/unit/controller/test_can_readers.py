"""CAN and OBD readers against the simulated controller's own frames, and against rubbish."""

import cantools
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewheel.controller.can_signals import CanReader
from edgewheel.controller.obd import BY_FIELD, ObdAddress, ObdReader
from edgewheel.controller.reader import CanFrame
from edgewheel.controller.sim.report import Reading
from edgewheel.controller.sim.settings import ReportSettings
from edgewheel.controller.sim.speaks_can import DBC, SPEED_ID, STATE_ID, frames
from edgewheel.controller.sim.speaks_obd import ObdSpeaker

READING = Reading(1.0, 3000.25, "full", 2, 1, True, -5.5, "no teeth")
MS = 1_000_000
TICK_HZ = 1_000_000_000
ALL_PIDS = tuple(BY_FIELD.values())

FRAMES = st.builds(
    CanFrame,
    st.sampled_from([SPEED_ID, STATE_ID, 0x7E8, 0x123]),
    st.binary(max_size=8),
    st.booleans(),
)


def can_reader():
    return CanReader(cantools.database.load_string(DBC, "dbc"))


def test_every_known_frame_is_a_report_of_its_signals():
    reader = can_reader()
    speed, state = (reader.feed(frame, 5)[0] for frame in frames(READING))
    assert speed.fields == {"rpm": 3000.25, "advance": pytest.approx(-5.5), "cut": 1.0}
    assert state.fields == {"sync": "full", "losses": 2.0, "overruns": 1.0}
    assert (speed.arrived, state.text) == (5, "sync=full losses=2 overruns=1")


SHARED = """\
VERSION ""
BU_: bench
BO_ 256 Front: 2 bench
 SG_ rpm : 0|8@1+ (10,0) [0|0] "" bench
 SG_ load : 8|8@1+ (0.5,-20) [0|0] "" bench
BO_ 257 Rear: 1 bench
 SG_ rpm : 0|8@1+ (10,0) [0|0] "" bench
"""


def test_a_signal_of_two_messages_is_named_with_its_message():
    reader = CanReader(cantools.database.load_string(SHARED, "dbc"))
    reports = reader.feed(CanFrame(256, b"\x55\x0a"), 0) + reader.feed(CanFrame(257, b"\x11"), 1)
    assert [one.fields for one in reports] == [
        {"Front.rpm": 850.0, "load": -15.0},
        {"Rear.rpm": 170.0},
    ]


def test_unknown_and_short_frames_are_counted():
    reader = can_reader()
    speed, _ = frames(READING)
    for frame in (
        CanFrame(0x123, b""),
        CanFrame(SPEED_ID, speed.data, extended=True),
        CanFrame(SPEED_ID, speed.data[:7]),
    ):
        assert reader.feed(frame, 0) == []
    assert reader.tally() == {"frames": 3, "unknown_id": 2, "short": 1}


@given(st.lists(FRAMES, max_size=30))
def test_any_frames_at_all_are_taken(some):
    can, obd = can_reader(), ObdReader(ObdAddress(), (0x0C,), 50)
    obd.due(0)
    for frame in some:
        can.feed(frame, 0)
        obd.feed(frame, 0)
    assert can.tally().get("frames", 0) == obd.tally().get("frames", 0) == len(some)


class Conversation:
    """An OBD reader and the simulated controller, joined in virtual time."""

    def __init__(self, pids=ALL_PIDS, every_ms=50):
        self.reader = ObdReader(ObdAddress(), pids, every_ms)
        self.speaker = ObdSpeaker(ReportSettings(speaks="obd"), TICK_HZ)
        self.reports = []

    def run(self, ms):
        for now in range(0, ms * MS, MS):
            for frame in self.reader.due(now):
                self.speaker.ask(now, frame, READING)
            for tick, frame in self.speaker.sent(now):
                self.reports += self.reader.feed(frame, tick)
        return self.reports


def test_each_parameter_is_asked_in_turn_at_the_stated_pace():
    reports = Conversation().run(300)
    assert [report.fields for report in reports[:3]] == [
        {"rpm": 3000.25},
        {"advance": -5.5},
        {"codes": 1.0},
    ]
    assert len(reports) == 6


def test_an_answer_that_never_comes_is_counted_and_the_next_is_asked():
    talk = Conversation(pids=(0x0D, 0x0C))
    assert [report.fields for report in talk.run(400)] == [{"rpm": 3000.25}] * 2
    assert talk.reader.tally()["unanswered"] == 2


def test_answers_of_other_services_and_of_too_few_bytes_are_no_values():
    reader = ObdReader(ObdAddress(), (0x0C,), 50)
    reader.due(0)
    for answer in ((4, 0x49, 0x0C, 0x10, 0), (1, 0x41), (3, 0x41, 0x0C, 0x10), (2, 0x41, 0x0D)):
        frame = CanFrame(0x7E8, bytes(answer).ljust(8, b"\0"))
        assert reader.feed(frame, 0) == []
    assert reader.tally() == {"frames": 4, "other_answer": 2, "short": 2}
    (report,) = reader.feed(CanFrame(0x7E8, bytes((4, 0x41, 0x0C, 0x10, 4, 0, 0, 0))), 9)
    assert report.fields == {"rpm": 1025.0}


def test_response_pending_is_waited_for_and_a_refusal_is_counted():
    reader = ObdReader(ObdAddress(), (0x0C,), 50)
    assert reader.due(0)[0].data == bytes((2, 1, 0x0C, 0, 0, 0, 0, 0))
    reader.feed(CanFrame(0x7E8, bytes((3, 0x7F, 1, 0x78, 0, 0, 0, 0))), 0)
    assert reader.due(60 * MS) == []
    assert reader.due(1000 * MS) == []
    (report,) = reader.feed(CanFrame(0x7E8, bytes((4, 0x41, 0x0C, 0x10, 0, 0, 0, 0))), 9)
    assert report.fields == {"rpm": 1024.0}
    assert len(reader.due(1100 * MS)) == 1
    reader.feed(CanFrame(0x7E8, bytes((3, 0x7F, 1, 0x12, 0, 0, 0, 0))), 0)
    assert {k: reader.tally()[k] for k in ("pending", "refused")} == {"pending": 1, "refused": 1}

"""The short talk with a port, on a scripted transport and in virtual time."""

import pytest

from edgewheel.board.enquiry import Enquiry
from edgewheel.board.sim import SimBoard
from edgewheel.clock import VirtualClock
from edgewheel.link.frames import FrameDecoder, encode_frame
from edgewheel.link.messages import Bootloader, Hello, Poll, Refusal, Refused, Status, Stop
from edgewheel.link.welcome import Welcome

MS = 1_000_000
SECOND = 1000 * MS
WELCOME = SimBoard()._welcome()
STATUS = Status(*[0] * 20)


class Script:
    """A transport on which every read takes 4 ms; `answer` gives frames for each that is sent."""

    name = "script"

    def __init__(self, answer):
        self.clock = VirtualClock()
        self.sent = []
        self._answer = answer
        self._decoder = FrameDecoder()
        self._waiting = b""

    def write(self, data):
        for frame in self._decoder.feed(data):
            self.sent.append(frame)
            for type_, seq, payload in self._answer(frame):
                self._waiting += encode_frame(type_, seq, payload)

    def read(self):
        self.clock.sleep_until(self.clock.now_ns() + 4 * MS)
        data, self._waiting = self._waiting, b""
        return data

    def close(self):
        pass


def enquire(answer):
    script = Script(answer)
    return Enquiry(script, script.clock), script


def test_hello_is_said_again_until_somebody_answers():
    def third_time(frame):
        return [(Welcome.TYPE, 0, WELCOME.pack())] if len(script.sent) == 3 else []

    enquiry, script = enquire(third_time)
    assert enquiry.hello(4 * SECOND) == WELCOME
    assert {frame.type for frame in script.sent} == {Hello.TYPE}
    assert 200 * MS < script.clock.now_ns() < 300 * MS
    assert len({frame.payload for frame in script.sent}) == 1, "one session"


def test_hello_gives_up():
    enquiry, script = enquire(lambda frame: [])
    assert enquiry.hello(SECOND) is None
    assert SECOND <= script.clock.now_ns() < SECOND + 10 * MS
    assert len(script.sent) == 10


def test_a_welcome_that_is_none_is_passed_over():
    enquiry, _ = enquire(
        lambda frame: [(Welcome.TYPE, 0, b"EDWH"), (Welcome.TYPE, 1, WELCOME.pack())]
    )
    assert enquiry.hello(SECOND) == WELCOME


def test_only_the_answer_to_this_poll_counts():
    def late(frame):
        token = Poll.unpack(frame.payload).token
        return [(Status.TYPE, 0, STATUS._replace(token=token - 1).pack())]

    enquiry, script = enquire(late)
    assert enquiry.poll(100 * MS) is None
    assert script.clock.now_ns() >= 100 * MS

    def right(frame):
        token = Poll.unpack(frame.payload).token
        stale, fresh = STATUS._replace(token=token - 1), STATUS._replace(token=token, tick=9)
        return [(Status.TYPE, 0, stale.pack()), (Status.TYPE, 1, fresh.pack())]

    enquiry, _ = enquire(right)
    assert enquiry.poll(100 * MS).tick == 9


def test_frames_that_never_came_are_counted():
    numbers = iter([250, 251, 254, 3])

    def answer(frame):
        token = Poll.unpack(frame.payload).token
        return [(Status.TYPE, next(numbers), STATUS._replace(token=token).pack())]

    enquiry, _ = enquire(answer)
    for _ in range(4):
        enquiry.poll(SECOND)
    assert enquiry.inbox.gaps == 2 + 4
    assert enquiry.inbox.frames_heard == 4


def test_the_order_to_leave_follows_a_stop():
    enquiry, script = enquire(lambda frame: [])
    assert enquiry.enter_bootloader(100 * MS) is None
    assert [frame.type for frame in script.sent] == [Stop.TYPE, Bootloader.TYPE]
    assert script.sent[1].payload == b"BOOT"


def test_a_refusal_and_a_port_that_vanishes():
    def refuse(frame):
        return [(Refused.TYPE, 0, Refused(frame.type, frame.seq, Refusal.STATE).pack())]

    enquiry, _ = enquire(refuse)
    assert enquiry.enter_bootloader(100 * MS) is Refusal.STATE

    def vanish(frame):
        raise OSError("gone")

    enquiry, _ = enquire(vanish)
    assert enquiry.enter_bootloader(100 * MS) is None
    with pytest.raises(OSError, match="gone"):
        enquiry.poll(100 * MS)

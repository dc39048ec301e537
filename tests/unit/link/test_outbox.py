"""Go-back-N, and how a report of a hole is told from an old one."""

from edgewheel.link.frames import decode_frame
from edgewheel.link.outbox import WINDOW, Outbox
from edgewheel.link.poller import EVERY_NS, Poller

ARM, EDGES, END = 0x10, 0x11, 0x14


def sent(outbox):
    """Numbers and types of everything that goes out now."""
    out = []
    while outbox.has_unsent:
        frame = decode_frame(outbox.next_frame()[:-1])
        out.append((frame.seq, frame.type))
    return out


def filled(count=3, first_seq=254):
    outbox = Outbox(first_seq)
    for _ in range(count):
        outbox.add(EDGES, b"")
    return outbox


def test_numbers_go_round_and_repeats_keep_theirs():
    outbox = filled()
    assert sent(outbox) == [(254, EDGES), (255, EDGES), (0, EDGES)]
    assert outbox.acknowledge(255) == [EDGES]
    outbox.go_back()
    assert sent(outbox) == [(255, EDGES), (0, EDGES)]
    assert outbox.retransmits == 2
    assert outbox.acknowledge(1) == [EDGES, EDGES]
    assert not outbox.waits


def test_an_acknowledgement_of_what_was_never_sent_is_not_believed():
    outbox = filled()
    outbox.next_frame()
    assert outbox.acknowledge(0) == []
    assert outbox.acknowledge(200) == []
    assert outbox.next_seq == 254


def test_the_window_is_64_frames():
    assert filled(WINDOW - 1).has_room
    assert not filled(WINDOW).has_room


def test_what_was_never_sent_can_be_dropped_but_for_some_types():
    outbox = filled(2)
    outbox.next_frame()
    outbox.add(ARM, b"")
    outbox.add(END, b"")
    outbox.drop_unsent(but=(ARM,))
    assert sent(outbox) == [(255, ARM)]
    outbox.go_back()
    assert sent(outbox) == [(254, EDGES), (255, ARM)]


def test_a_hole_reported_before_the_repeat_arrived_proves_nothing():
    poller = Poller(0)
    poller.hear(poller.ask(0), 5)
    assert poller.proves(1)
    poller.repeat()
    assert poller.wants_proof
    assert not poller.proves(1)
    token = poller.ask(10)
    assert not poller.wants_proof
    assert poller.proves(token)
    poller.progress()
    assert poller.proves(1)


def test_a_poll_is_said_again_until_it_is_answered():
    poller = Poller(0)
    assert poller.ask(0) == poller.ask(poller.due_ns) == 1
    poller.hear(1, 80_000_000)
    assert poller.rtt_ns == 80_000_000
    assert poller.due_ns == EVERY_NS
    assert poller.ask(EVERY_NS) == 2

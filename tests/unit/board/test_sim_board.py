"""The simulated board, frame by frame: what PROTOCOL.md says beside its state table."""

from dataclasses import replace

import pytest

from edgewheel.board.sim import SimBoard
from edgewheel.link.frames import encode_frame
from edgewheel.link.messages import (
    Edges,
    End,
    Flag,
    Hello,
    Park,
    Poll,
    Pulses,
    Reason,
    Refusal,
    Splice,
    Start,
    State,
    Status,
    Stop,
)
from edgewheel.link.pinbus import Pulse
from raw_host import ARM, MS, SETTINGS, RawHost, literal


def playing(
    deltas=(5 * MS, 5 * MS, 30 * MS, 30 * MS), masks=(1, 2, 3, 0), settings=SETTINGS, **arm
):
    host = RawHost(settings)
    host.say(replace(ARM, **arm))
    host.edges(0, 0, list(deltas), list(masks))
    host.say(Start(1))
    return host


def test_welcome_says_what_the_board_is():
    host = RawHost()
    assert (host.welcome.tick_hz, host.welcome.buffer_bytes) == (16_000_000, 131_072)
    assert host.welcome.handover_ticks == 20 * MS
    assert host.welcome.complete


def test_another_version_is_answered_too():
    host = RawHost()
    host.say(Hello(b"EDWH", 8, 9, 9))
    assert host.welcome.major == 1
    host.say(Hello(b"NOPE", 8, 1, 0))
    assert host.refused == [(Hello.TYPE, Refusal.VALUE)]


def test_every_transition_is_played_at_its_tick():
    host = playing()
    start = host.status.start_tick
    host.say(End(0, 4, 70 * MS))
    host.wait(200 * MS)
    assert host.pins == [(start + t * MS, m) for t, m in ((5, 1), (10, 2), (40, 3), (70, 0))]
    assert (host.status.reason, host.status.played) == (Reason.END, 4)
    assert host.status.last_tick == 70 * MS


def test_time_steps_do_not_matter():
    one, many = playing(), playing()
    one.board.advance(0)
    changes = one.board.advance(65 * MS)
    many.wait(65 * MS)
    assert list(zip(changes.ticks.tolist(), changes.masks.tolist(), strict=True)) == many.pins


def test_transitions_are_handed_over_twenty_ms_ahead():
    host = playing()
    assert (host.status.handed, host.status.played) == (2, 0)
    host.wait(21 * MS)
    host.say(Poll(5))
    assert (host.status.handed, host.status.played, host.status.token) == (3, 2, 5)


def test_running_dry_is_a_fault_at_the_last_transition():
    host = playing()
    host.wait(100 * MS)
    assert (host.status.state, host.status.reason) == (State.FAULTED, Reason.STARVED)
    assert (host.status.played, host.status.last_tick) == (4, 70 * MS)


def test_stop_holds_the_pins_at_once_and_parks_later():
    host = playing(idle=0x80)
    host.wait(7 * MS)
    host.say(Stop(1))
    host.wait(30 * MS)
    assert [mask for _, mask in host.pins] == [1]
    assert (host.status.state, host.status.played, host.status.queued) == (State.HOLDING, 1, 0)
    host.wait(30 * MS)
    parked = host.status.start_tick + 7 * MS + 50 * MS
    assert host.pins[-1] == (parked, 0x80)
    assert (host.status.state, host.status.park_tick) == (State.IDLE, parked)


def test_park_names_its_run_or_any():
    host = playing()
    host.say(Park(9))
    host.say(Stop(9))
    assert host.status.state == State.RUNNING
    host.say(Park(0xFFFF))
    assert (host.status.state, host.status.reason) == (State.IDLE, Reason.STOP)


def test_the_board_stops_by_itself_when_the_host_falls_silent():
    host = playing(deltas=(MS, 3000 * MS), masks=(1, 2), host_timeout_ms=300)
    host.wait(299 * MS)
    assert host.status.state == State.RUNNING
    host.wait(2 * MS)
    assert (host.status.state, host.status.reason) == (State.FAULTED, Reason.HOST_SILENT)


def test_every_good_frame_is_a_sign_of_life():
    host = playing(deltas=(MS, 3000 * MS), masks=(1, 2), host_timeout_ms=300)
    for _ in range(6):
        host.wait(200 * MS)
        host.send(encode_frame(0x7F, 0, b"") if _ % 2 else encode_frame(Poll.TYPE, 0, b"\0" * 4))
    assert host.status.state == State.RUNNING


def test_credit_is_absolute_and_comes_back_as_the_stream_is_decoded():
    host = RawHost()
    host.say(ARM)
    host.edges(0, 0, [5 * MS] * 16, [1] * 16)
    host.edges(16, 80 * MS, [5 * MS] * 16, [2] * 16)
    cost = 11 + len(literal([1] * 16, [1] * 16)) + 2
    host.ask()
    assert (host.status.credit, host.status.queued) == (131_072, 2 * cost)
    host.say(Start(1))
    host.wait(MS)
    assert (host.status.credit, host.status.queued) == (131_072 + cost, cost)
    host.say(Stop(1))
    assert (host.status.credit, host.status.queued) == (131_072 + 2 * cost, 0)


def test_edges_of_another_epoch_are_ignored_and_cost_nothing():
    host = playing()
    credit = host.status.credit
    host.edges(4, 70 * MS, [MS], [1], epoch=9)
    host.say(Poll(1))
    assert host.status.state == State.RUNNING
    assert host.status.credit == credit + 11 + 7 + 2


def test_a_splice_replaces_what_is_not_handed_over():
    host = playing(deltas=(5 * MS, 5 * MS), masks=(1, 2))
    host.edges(2, 10 * MS, [30 * MS, 30 * MS], [3, 0])
    host.say(Splice(0, 1, 2))
    assert (host.status.epoch, host.status.epoch_first) == (1, 2)
    host.edges(2, 10 * MS, [50 * MS], [0x40], epoch=1)
    host.say(End(1, 3, 60 * MS))
    host.wait(100 * MS)
    assert [mask for _, mask in host.pins] == [1, 2, 0x40]
    assert (host.status.reason, host.status.last_tick) == (Reason.END, 60 * MS)


@pytest.mark.parametrize("first", [1, 3, 5])
def test_a_splice_that_fits_no_frame_or_comes_too_late_is_refused(first):
    host = playing(deltas=(5 * MS, 5 * MS), masks=(1, 2))
    host.edges(2, 10 * MS, [30 * MS, 30 * MS], [3, 0])
    host.say(Splice(0, 1, first))
    host.edges(first, 10 * MS, [50 * MS], [0x40], epoch=1)
    assert host.status.flags & Flag.SPLICE_REFUSED
    assert (host.status.epoch, host.status.refused_epoch) == (0, 1)
    host.say(End(0, 4, 70 * MS))
    host.wait(100 * MS)
    assert [mask for _, mask in host.pins] == [1, 2, 3, 0]


def test_a_splice_may_take_back_a_frame_that_is_decoded_but_not_handed_over():
    host = playing(deltas=(5 * MS, 5 * MS), masks=(1, 2))
    host.edges(2, 10 * MS, [300 * MS], [3])
    host.wait(100 * MS)
    assert host.status.handed == 2
    host.say(Splice(0, 1, 2))
    host.edges(2, 10 * MS, [190 * MS], [4], epoch=1)
    host.say(End(1, 3, 200 * MS))
    host.wait(120 * MS)
    assert [mask for _, mask in host.pins] == [1, 2, 4]
    assert host.status.reason == Reason.END


def test_a_new_course_may_be_awaited_on_a_long_hold():
    host = playing(deltas=(5 * MS, 500 * MS), masks=(1, 2))
    host.wait(100 * MS)
    host.say(Splice(0, 1, 1))
    assert host.status.flags & Flag.SPLICE_REFUSED, "one frame: no course can begin within it"
    host = playing(deltas=(5 * MS,), masks=(1,))
    host.edges(1, 5 * MS, [500 * MS], [2])
    host.wait(100 * MS)
    host.say(Splice(0, 1, 1))
    host.wait(19 * MS)
    assert host.status.state == State.RUNNING
    host.wait(2 * MS)
    assert host.status.reason == Reason.STARVED


def test_repeats_are_dropped_and_holes_are_flagged():
    host = RawHost()
    host.say(ARM)
    block = literal([5 * MS, 5 * MS], [1, 2])
    host.say(Edges(0, 2, 0, 10 * MS, block), seq=1)
    host.say(Edges(0, 2, 0, 10 * MS, block), seq=1)
    assert (host.status.next_seq, host.status.missed_frames, host.status.flags) == (2, 0, 0)
    host.say(Start(1), seq=3)
    assert (host.status.next_seq, host.status.missed_frames) == (2, 1)
    assert host.status.flags == Flag.HOLE
    assert host.status.state == State.ARMED
    host.say(End(0, 2, 10 * MS), seq=2)
    assert (host.ask().next_seq, host.status.flags) == (3, 0)


def test_a_repeat_from_up_to_64_behind_is_no_hole():
    host = RawHost()
    host.say(ARM)
    for n in range(70):
        host.edges(n, n * MS, [MS], [n % 2])
    for behind in (1, 2, 64):
        host.say(Start(1), seq=(host.seq - behind) & 0xFF)
    assert (host.ask().flags, host.status.missed_frames) == (0, 0)
    host.say(Start(1), seq=(host.seq - 65) & 0xFF)
    assert (host.ask().flags, host.status.missed_frames) == (Flag.HOLE, 1)


def test_edges_after_end_do_not_fit():
    host = playing()
    host.say(End(0, 4, 70 * MS))
    host.edges(4, 70 * MS, [MS], [1])
    assert (host.status.state, host.status.reason) == (State.FAULTED, Reason.BAD_STREAM)


@pytest.mark.parametrize("end", [End(0, 3, 70 * MS), End(0, 4, 69 * MS)])
def test_an_end_that_is_not_that_of_the_stream_does_not_fit(end):
    host = playing()
    host.say(end)
    assert host.status.reason == Reason.BAD_STREAM


def test_a_splice_takes_the_lag_back():
    """A block that relies on the lag of the old course does not fit the new one.

    The old course's last frame, which sets the lag, is still packed when the SPLICE comes.
    """
    repeat_once = b"\x01\x00"  # header: repeat, one transition, width 0, no masks, no lag
    for spliced in (False, True):
        host = playing(deltas=(5 * MS, 25 * MS), masks=(1, 2))
        with_lag = b"\x01\x20\x01\x00"
        host.say(Edges(0, 1, 2, 55 * MS, with_lag))
        epoch = 0
        if spliced:
            host.edges(3, 55 * MS, [200 * MS], [1])
            host.say(Splice(0, 1, 3))
            epoch = 1
        host.say(Edges(epoch, 1, 3, 80 * MS, repeat_once))
        host.wait(40 * MS)
        wanted = Reason.BAD_STREAM if spliced else Reason.NONE
        assert host.status.reason == wanted


def test_what_is_handed_over_is_never_taken_back():
    host = playing(deltas=(5 * MS,), masks=(1,))
    host.edges(1, 5 * MS, [10 * MS], [2])
    host.say(Splice(0, 1, 1))
    assert host.status.flags & Flag.SPLICE_REFUSED


def test_the_first_parking_is_the_one_that_is_told():
    host = playing()
    host.say(Stop(1))
    host.wait(60 * MS)
    first = host.status.park_tick
    host.say(Park(1))
    assert host.ask().park_tick == first > 0


def test_a_new_session_begins_with_the_number_of_its_hello():
    host = playing(deltas=(MS, 900 * MS), masks=(1, 2))
    host.say(Hello(b"EDWH", 99, 1, 0), seq=200)
    host.say(End(0, 2, 901 * MS), seq=200)
    assert (host.ask().next_seq, host.status.state) == (201, State.RUNNING)
    host.say(Hello(b"EDWH", 99, 1, 0), seq=5)
    assert host.ask().next_seq == 201


def test_damaged_frames_change_nothing_but_a_counter():
    host = playing(deltas=(MS, 900 * MS), masks=(1, 2))
    before = host.status
    good = encode_frame(End.TYPE, host.seq, End(0, 2, 901 * MS).pack())
    for at in range(len(good) - 1):
        bad = good[:at] + bytes((good[at] ^ 0x20 or 0x21,)) + good[at + 1 :]
        host.send(bad)
    host.say(Poll(1))
    changed = ("tick", "token", "bad_frames")
    for name in Status._fields:
        assert name in changed or getattr(host.status, name) == getattr(before, name), name
    assert host.status.bad_frames == len(good) - 1


@pytest.mark.parametrize(
    ("payload", "type_", "code"),
    [
        (b"\1", 0x10, Refusal.MALFORMED),
        (b"\1" * 5, 0x11, Refusal.MALFORMED),
        (b"", 0x02, Refusal.MALFORMED),
        (b"", 0x1F, Refusal.UNKNOWN),
        (b"", 0x0F, Refusal.UNKNOWN),
        (b"BOOT", 0x15, Refusal.UNKNOWN),
        (replace(ARM, host_timeout_ms=0).pack(), 0x10, Refusal.VALUE),
        (ARM.pack() + b"a tail of a later minor version", 0x10, None),
    ],
)
def test_refusals(payload, type_, code):
    host = RawHost()
    host.send(encode_frame(type_, 0, payload))
    assert host.refused == ([] if code is None else [(type_, code)])
    host.say(Poll(3))
    assert host.status.next_seq == (type_ >= 0x10)


def test_a_mask_beyond_the_outputs_is_refused():
    host = RawHost(replace(SETTINGS, outputs=4))
    host.say(replace(ARM, idle=0x10))
    assert host.refused == [(0x10, Refusal.VALUE)]


def test_start_wants_its_run_and_a_stream():
    host = RawHost()
    host.say(ARM)
    host.say(Start(1))
    host.say(End(0, 0, 0))
    host.say(Start(2))
    assert host.refused == [(0x12, Refusal.VALUE)] * 2
    host.say(Start(1))
    host.wait(MS)
    assert (host.status.state, host.status.reason) == (State.HOLDING, Reason.END)


def test_status_comes_every_five_ms_in_a_run_and_every_hundred_else():
    host = RawHost()
    host.frames.clear()
    host.wait(1000 * MS)
    assert len(host.all(Status)) == 10
    host = playing(deltas=(MS, 900 * MS), masks=(1, 2))
    host.frames.clear()
    host.wait(100 * MS)
    assert len(host.all(Status)) == 20


def test_pulses_are_numbered_stamped_and_of_the_captured_inputs_only():
    host = playing(inputs=0b101)
    host.board.capture([Pulse(50, 0, 1), Pulse(60, 1, 1), Pulse(70, 2, 1), Pulse(90, 0, 0)])
    host.wait(MS)
    host.board.capture([Pulse(20 * MS, 2, 0), Pulse(21 * MS, 2, 0)])
    host.wait(MS)
    assert [(p.first, p.ticks, p.levels) for p in host.pulses] == [
        (0, (50, 70, 90), (0b001, 0b101, 0b100)),
        (3, (20 * MS,), (0,)),
    ]


def test_what_was_captured_is_told_before_the_parking():
    host = playing()
    host.frames.clear()
    host.board.capture([Pulse(host.tick, 0, 1)])
    host.say(Park(1))
    assert [frame.type for frame in host.frames] == [Pulses.TYPE, Status.TYPE]
    assert host.status.park_tick == host.tick


def test_pulses_that_find_no_room_are_counted():
    host = playing(settings=replace(SETTINGS, capture_room=10))
    host.board.capture([Pulse(n, 0, 1 - n % 2) for n in range(25)])
    host.wait(6 * MS)
    assert host.status.lost_pulses == 15
    assert sum(len(p.ticks) for p in host.pulses) == 10


def test_many_pulses_take_several_frames():
    host = playing()
    host.board.capture([Pulse(n * 100_000, 0, 1 - n % 2) for n in range(300)])
    host.wait(MS)
    assert [p.first for p in host.pulses] == list(range(0, 300, 21))
    assert all(len(frame.payload) <= 244 for frame in host.frames)


def test_two_boards_share_nothing():
    one = playing()
    two = SimBoard(SETTINGS)
    one.wait(50 * MS)
    assert len(two.advance(50 * MS)) == 0

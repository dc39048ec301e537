"""The doctor's check of the link: how soon answers come, and whether all of them do."""

from __future__ import annotations

import statistics
from typing import Any

from edgewheel.board.check import Check, failed, passed
from edgewheel.board.enquiry import Enquiry
from edgewheel.clock import Clock

POLLS = 50
SLOWEST_NS = 200_000_000
"""The host says POLL that often in a run: an answer should not take longer."""


def check_link(enquiry: Enquiry, clock: Clock) -> Check:
    """Say POLL many times and count what comes back. OSError once the port is gone."""
    rounds_ns, bad_from_host = _rounds(enquiry, clock)
    lost = POLLS - len(rounds_ns)
    values: dict[str, Any] = {
        "polls": POLLS,
        "lost_answers": lost,
        "round_trip_ms": _ms(statistics.median(rounds_ns)) if rounds_ns else None,
        "slowest_ms": _ms(max(rounds_ns)) if rounds_ns else None,
        "bad_from_host": bad_from_host,
        "bad_from_board": enquiry.inbox.bad_frames,
        "board_gaps": enquiry.inbox.gaps,
    }
    bad = bad_from_host + enquiry.inbox.bad_frames
    text = (
        f"round trip {values['round_trip_ms']} ms, slowest {values['slowest_ms']} ms; "
        f"{lost} of {POLLS} answers lost, {bad} broken frames, {enquiry.inbox.gaps} lost ones"
    )
    if lost or bad or enquiry.inbox.gaps:
        remedy = "Try another cable, and a USB port of this computer without a hub between."
        return failed("link", text, remedy, values)
    if max(rounds_ns) > SLOWEST_NS:
        remedy = "Close what keeps this computer busy, then again: edgewheel doctor"
        return failed("link", text, remedy, values)
    return passed("link", text, values)


def _rounds(enquiry: Enquiry, clock: Clock) -> tuple[list[int], int]:
    """Round trips of the answers that came, in ns, and how many frames reached the board broken."""
    rounds_ns: list[int] = []
    bad: list[int] = []
    for _ in range(POLLS):
        asked_ns = clock.now_ns()
        status = enquiry.poll(2 * SLOWEST_NS)
        if status is not None:
            rounds_ns.append(clock.now_ns() - asked_ns)
            bad.append(status.bad_frames)
    return rounds_ns, bad[-1] - bad[0] if bad else 0


def _ms(nanoseconds: float) -> float:
    return round(nanoseconds / 1e6, 3)

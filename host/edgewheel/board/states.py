"""The state table of PROTOCOL.md section 5, as the simulated board runs it.

A test holds it against the page.
"""

from __future__ import annotations

from enum import Enum
from typing import NamedTuple

from edgewheel.link.messages import Reason, State


class Effect(Enum):
    """What a row of the table does."""

    INITIAL = "initial"
    QUEUE = "queue"
    SPLICE = "splice"
    START = "start"
    HOLD = "hold"
    PARK = "park"
    CONFIGURE = "configure"


class Row(NamedTuple):
    """Where an event leads, what it does, and the reason it leaves behind."""

    next: State
    effect: Effect
    reason: Reason = Reason.NONE


IDLE, ARMED, RUNNING, HOLDING, FAULTED = State

_ENDINGS = {
    "silence": Reason.HOST_SILENT,
    "dropped": Reason.LINK_DROPPED,
    "misfit": Reason.BAD_STREAM,
    "overrun": Reason.OVERRUN,
    "broken": Reason.INTERNAL,
}

TABLE: dict[tuple[State, str], Row] = {
    **{(state, "ARM"): Row(ARMED, Effect.INITIAL) for state in (IDLE, HOLDING, FAULTED)},
    (ARMED, "START"): Row(RUNNING, Effect.START),
    **{
        (state, event): Row(state, effect)
        for state in (ARMED, RUNNING)
        for event, effect in [
            ("EDGES", Effect.QUEUE),
            ("END", Effect.QUEUE),
            ("SPLICE", Effect.SPLICE),
        ]
    },
    **{(state, "STOP"): Row(HOLDING, Effect.HOLD, Reason.STOP) for state in (ARMED, RUNNING)},
    **{(state, "PARK"): Row(IDLE, Effect.PARK, Reason.STOP) for state in (ARMED, RUNNING)},
    **{
        (state, event): Row(FAULTED, Effect.HOLD, reason)
        for state in (ARMED, RUNNING)
        for event, reason in _ENDINGS.items()
    },
    (RUNNING, "finished"): Row(HOLDING, Effect.HOLD, Reason.END),
    (RUNNING, "dry"): Row(FAULTED, Effect.HOLD, Reason.STARVED),
    (RUNNING, "late"): Row(FAULTED, Effect.HOLD, Reason.LATE),
    **{(HOLDING, event): Row(IDLE, Effect.PARK) for event in ("PARK", "time")},
    **{(FAULTED, event): Row(FAULTED, Effect.PARK) for event in ("PARK", "time")},
    (IDLE, "PARK"): Row(IDLE, Effect.PARK),
    **{(state, "CONFIG"): Row(state, Effect.CONFIGURE) for state in (IDLE, HOLDING, FAULTED)},
}

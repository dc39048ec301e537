"""What a run says while it goes: frozen facts, each with its seconds after table tick 0.

Ticks are the board's clock; `seconds` is the same moment on the engine's time line.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from edgewheel.controller.lines import Value


class Cause(StrEnum):
    """How a loss of sync shows."""

    SAID = "said"
    """The controller says that it has no sync."""
    COUNTED = "counted"
    """Its loss counter stepped between two reports that both claim sync."""
    SPEED = "speed"
    """It claims sync, but its speed is wrong for longer than the limit allows."""
    SILENCE = "silence"
    """Its reports stopped."""
    POSITION = "position"
    """It claims sync, but its pulses stand at the wrong crank angle."""
    ABSENT = "absent"
    """It had sync, the engine stood and turns again, and it did not find sync in time."""


@dataclass(frozen=True)
class Began:
    """The engine's time line begins: `tick` is the board's clock at table tick 0."""

    tick: int
    seconds: float
    tick_hz: int


@dataclass(frozen=True)
class RawBytes:
    """Bytes from the controller, as they came; a CAN frame as a line of text with its seconds."""

    tick: int
    seconds: float
    data: bytes


@dataclass(frozen=True)
class Reported:
    """A report of the controller, as read; its moment is right to `uncertainty_s`."""

    tick: int
    seconds: float
    text: str
    fields: Mapping[str, Value]
    uncertainty_s: float = 0.0


@dataclass(frozen=True)
class Pulsed:
    """An edge of one of the controller's outputs."""

    tick: int
    seconds: float
    line: str
    level: int


@dataclass(frozen=True)
class PulsesLost:
    """So many edges of the outputs never came here: what the pulses around them say is no fact."""

    seconds: float
    count: int


@dataclass(frozen=True)
class Understood:
    """How much the controller said in the whole run, and how much could not be read, by kind.

    `clock` is the fit of the board's clock to the host's, empty where both are one.
    """

    counts: Mapping[str, int]
    clock: Mapping[str, float]


@dataclass(frozen=True)
class SyncGained:
    """The controller has sync and everything known agrees."""

    seconds: float
    rpm: float


@dataclass(frozen=True)
class SyncLost:
    """The controller lost sync, openly or silently; `reason` is the controller's own word."""

    seconds: float
    rpm: float
    cause: Cause
    detail: str
    reason: str


@dataclass(frozen=True)
class Cut:
    """Sparks vanished or came back while sync and speed stayed right: a limiter, not a loss."""

    seconds: float
    rpm: float
    sparks: bool


@dataclass(frozen=True)
class BoardSaid:
    """A change of the board's state; `reason` says why a run ended."""

    tick: int
    seconds: float
    state: str
    reason: str
    played: int


@dataclass(frozen=True)
class Progress:
    """How far the run has come."""

    seconds: float
    of_seconds: float
    rpm: float


@dataclass(frozen=True)
class Finished:
    """The end of a run. `verified`: the board played exactly the table, all of it. `sparks` were
    held against the crank angle; None where no coil is named.
    """

    seconds: float
    verified: bool
    aborted: bool
    detail: str
    sparks: int | None = None


Event = (
    Began
    | RawBytes
    | Reported
    | Pulsed
    | PulsesLost
    | Understood
    | SyncGained
    | SyncLost
    | Cut
    | BoardSaid
    | Progress
    | Finished
)

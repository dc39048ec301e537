"""What a live bench says of itself: frozen facts for whoever watches."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path

from edgewheel.bench import events


class LivePhase(StrEnum):
    """How far a live bench has come."""

    CLOSED = "closed"
    """Nothing is open: not started yet, or closed for good."""
    CONNECTING = "connecting"
    """A start was ordered; board and controller are being opened."""
    TURNING = "turning"
    PARKED = "parked"
    """The outputs are at their idle levels; `why` says what ended the run, if it was no order."""
    LOST = "lost"
    """Board or record failed, as `why` says. The board is looked for; nothing starts by itself."""


class FaultState(StrEnum):
    """What a person wants of a fault."""

    OFF = "off"
    ONCE = "once"
    """One occurrence at the next possible place, then off again."""
    HELD = "held"


@dataclass(frozen=True)
class LastLoss:
    """When sync was last lost, in seconds of the run, and why: the judge's words, then the
    controller's own if it gives a reason.
    """

    seconds: float
    reason: str


@dataclass(frozen=True)
class LiveState:
    """The bench as it is now.

    `set_rpm` is what was ordered, `pin_rpm` the mean speed on the pins now, ramps included,
    `reported_rpm` what the controller last said, None before it did. `crank_deg` is the true crank
    angle now, 0 to 720. `synced` is None until the controller has said something. `faults` says of
    every fault of the bench file what is wanted of it; `active` names those that are on the pins
    now.
    """

    phase: LivePhase = LivePhase.CLOSED
    why: str = ""
    seconds: float = 0.0
    set_rpm: float = 0.0
    pin_rpm: float = 0.0
    crank_deg: float = 0.0
    reported_rpm: float | None = None
    synced: bool | None = None
    losses: int = 0
    last_loss: LastLoss | None = None
    faults: Mapping[str, FaultState] = field(default_factory=dict)
    active: tuple[str, ...] = ()
    board: str = ""
    folder: Path | None = None


@dataclass(frozen=True)
class CourseTaken:
    """The board took a change of course: from `seconds` on (board tick `tick`) the engine goes to
    `rpm`. `after_ms` is the time from the order to the first moment of it on the pins.
    """

    tick: int
    seconds: float
    rpm: float
    after_ms: float


@dataclass(frozen=True)
class CourseRefused:
    """A change of course could not be; the old one goes on. `why` is a sentence."""

    why: str


@dataclass(frozen=True)
class PhaseChanged:
    """The bench is in another phase."""

    phase: LivePhase
    why: str


LiveEvent = events.Event | CourseTaken | CourseRefused | PhaseChanged

"""What a session tells: frozen events, in the order in which they came to be known.

Ticks named `tick` or `start_tick` are those of the board's clock; `last_tick` and the ticks of a
splice are run ticks, counted from START.
"""

from __future__ import annotations

from dataclasses import dataclass

from edgewheel.errors import BenchError
from edgewheel.link.messages import Reason, State, Status
from edgewheel.link.welcome import Welcome


@dataclass(frozen=True)
class LinkQuality:
    """How well host, cable and board understood each other since the session began.

    `retransmits` counts ordered frames sent again, `board_gaps` numbered board frames that never
    came, `bad_from_board` and `bad_from_host` frames that failed their check on arrival,
    `longest_host_gap_ns` the longest time during a run in which the host looked after the link not
    once.
    """

    retransmits: int = 0
    board_gaps: int = 0
    bad_from_board: int = 0
    bad_from_host: int = 0
    longest_host_gap_ns: int = 0


@dataclass(frozen=True)
class Connected:
    """A board answered and is ready for a run."""

    welcome: Welcome


@dataclass(frozen=True)
class LinkFailed:
    """The session is over; `error` says why and what to do."""

    error: BenchError


@dataclass(frozen=True)
class StateChanged:
    """The board is in another state, first seen at board tick `tick`.

    `played` transitions of its run had reached the pins by then.
    """

    state: State
    reason: Reason
    tick: int
    played: int


@dataclass(frozen=True)
class BoardStatus:
    """A STATUS, as it came; `received_ns` is the host's clock.

    If it answers a POLL, that left the host at `asked_ns`.
    """

    status: Status
    received_ns: int
    asked_ns: int | None = None


@dataclass(frozen=True)
class RunStarted:
    """The board's clock showed `start_tick` at run tick 0; `input_levels` is the mask of its inputs
    when the run was armed, from which captured pulses count.
    """

    run: int
    start_tick: int
    input_levels: int = 0


@dataclass(frozen=True)
class SpliceTaken:
    """The new course is in force from transition `first` on, not before run tick `from_tick`."""

    first: int
    from_tick: int


@dataclass(frozen=True)
class SpliceRefused:
    """The new course came too late for transition `first`; the old one goes on.

    The session tries again by itself unless `given_up`.
    """

    first: int
    given_up: bool


@dataclass(frozen=True)
class PulsesCaptured:
    """Changes of the inputs, numbered from `first`: board ticks and levels of all inputs."""

    first: int
    ticks: tuple[int, ...]
    levels: tuple[int, ...]


@dataclass(frozen=True)
class PulsesMissing:
    """Changes of the inputs that never came: no verdict can stand on the pulses around them."""

    count: int


@dataclass(frozen=True)
class RunEnded:
    """The pins hold: `played` transitions reached them, the last at run tick `last_tick`.

    `verified` is true if that is the whole table: the board's count and last tick are those of what
    was sent.
    """

    run: int
    reason: Reason
    verified: bool
    played: int
    last_tick: int
    start_tick: int
    quality: LinkQuality

    @property
    def faulted(self) -> bool:
        """Did the run end otherwise than by its end or by order?"""
        return self.reason not in (Reason.END, Reason.STOP)

    def explain(self) -> str:
        """One sentence for people: what ended the run, and where."""
        return f"{_SENTENCES[self.reason]} (transition {self.played}, run tick {self.last_tick})"


@dataclass(frozen=True)
class Parked:
    """The pins went to their idle levels at board tick `tick`."""

    tick: int


Event = (
    Connected
    | LinkFailed
    | StateChanged
    | BoardStatus
    | RunStarted
    | SpliceTaken
    | SpliceRefused
    | PulsesCaptured
    | PulsesMissing
    | RunEnded
    | Parked
)

_SENTENCES = {
    Reason.NONE: "Nothing has ended the run",
    Reason.END: "The board played the whole table",
    Reason.STOP: "The run was stopped by order",
    Reason.STARVED: "The board ran out of transitions: the host or the link was too slow",
    Reason.LATE: "A transition reached the board's output stage too late",
    Reason.HOST_SILENT: "The board heard nothing from the host and stopped by itself",
    Reason.BAD_STREAM: "The board found a frame that does not fit the stream",
    Reason.LINK_DROPPED: "The port was closed while the run was open",
    Reason.OVERRUN: "The host sent more than the board has room for",
    Reason.INTERNAL: "The board found a mistake of its own",
}

"""Which of the controller's words and wires says what, and what counts as wrong."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal


@dataclass(frozen=True)
class SparkLine:
    """An output that fires a coil: the cylinders it serves and the edge at which the spark comes.

    A wasted-spark coil serves two cylinders, a single coil all of them.
    """

    cylinders: tuple[int, ...]
    edge: Literal["rise", "fall"] = "fall"


OutputKind = Literal["ignition", "injection", "tacho"]
OUTPUT_KINDS: tuple[OutputKind, ...] = ("ignition", "injection", "tacho")


@dataclass(frozen=True)
class OutputLine:
    """One output: whose events it makes, and the level that does the work.

    `active` is the level while a coil charges or an injector is open; the event is timed at its
    end, the spark or the closing. A coil with one cylinder is a coil of its own, with two a wasted
    spark, with all of them the only one. `end_deg` is where injection ends by intent, in degrees
    before TDC, None if nobody says. `pulses_a_turn` is a tacho's.
    """

    kind: OutputKind
    cylinders: tuple[int, ...] = ()
    active: Literal["high", "low"] = "high"
    end_deg: float | None = None
    pulses_a_turn: float = 2.0

    @property
    def active_level(self) -> int:
        return int(self.active == "high")

    def spark_line(self) -> SparkLine:
        """The same as what the judge of sync asks of a coil."""
        return SparkLine(self.cylinders, "fall" if self.active == "high" else "rise")


@dataclass(frozen=True)
class Signals:
    """Names of report fields; an empty name means that the controller does not say it.

    `synced` are the words of the field `sync` that mean sync; where no field says it, a speed above
    zero claims it. `advance_deg` is taken where no field
    tells the advance; None means that nobody knows it, and then pulses tell nothing about position.
    `crank_edge` is the edge of the crank signal that the controller is meant to count; None is the
    one that suits the wheel. `outputs` are all captured lines; `sparks` are the coils among them
    that sync is judged by.
    """

    speed: str = "rpm"
    sync: str = "sync"
    synced: tuple[str, ...] = ("full",)
    losses: str = "losses"
    reason: str = "reason"
    advance: str = "advance"
    advance_deg: float | None = None
    crank_edge: Literal["rise", "fall"] | None = None
    sparks: Mapping[str, SparkLine] = field(default_factory=dict)
    outputs: Mapping[str, OutputLine] = field(default_factory=dict)


@dataclass(frozen=True)
class Limits:
    """What counts as lost, and where the controller cuts by intent.

    - `speed_error_percent` for longer than `speed_error_ms`: the speed is wrong. A report tells the
      speed of `report_latency_ms` before.
    - no report for `silence_ms`: silence.
    - `position_deg`: sparks further than this from their angle are misplaced; None: half a tooth
      pitch of the wheel.
    - below `least_rpm` no sync is asked for.
    - `rev_limit_rpm`: above it sparks may vanish.
    - before `from_s` nothing is asked: the controller has no supply yet, or boots.
    """

    speed_error_percent: float = 5.0
    speed_error_ms: float = 300.0
    report_latency_ms: float = 20.0
    silence_ms: float = 500.0
    position_deg: float | None = None
    least_rpm: float = 50.0
    rev_limit_rpm: float | None = None
    sync_within_s: float = 5.0
    from_s: float = 0.0

    @property
    def sync_by_s(self) -> float:
        """The moment of a run by which sync must have come."""
        return self.from_s + self.sync_within_s

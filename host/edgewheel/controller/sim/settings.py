"""What can be set in the simulated controller, in the groups a real one has.

Angles are crank degrees, positive after the reference. The reference is the first tooth after the
irregularity: after the gap, after the added tooth, after the reset mark, the edge that opens the
first window of a list.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Literal


@dataclass(frozen=True)
class Range:
    """What a number in a settings file may be; `above` is exclusive."""

    minimum: float | None = None
    maximum: float | None = None
    above: float | None = None


EdgeChoice = Literal["rising", "falling", "both"]
Shaft = Literal["crank", "cam"]
Level = Literal["high", "low"]
Microseconds = Annotated[float, Range(0, 1e6)]
Milliseconds = Annotated[float, Range(above=0, maximum=60_000)]
Degrees = Annotated[float, Range(-720, 720)]
AngleInTurn = Annotated[float, Range(0, 360)]
AngleInCycle = Annotated[float, Range(0, 720)]
Percent = Annotated[float, Range(0, 100)]
InnerPercent = Annotated[float, Range(above=0, maximum=99)]
Ratio = Annotated[float, Range(0, 1000)]
Rpm = Annotated[float, Range(0, 100_000)]
Millivolts = Annotated[float, Range(0, 1e6)]
Count = Annotated[int, Range(1, 1000)]
CountOrNone = Annotated[int, Range(0, 1000)]
Baud = Annotated[int, Range(300, 10_000_000)]
Hertz = Annotated[float, Range(above=0, maximum=1000)]


@dataclass(frozen=True)
class RcSettings:
    """A capacitor at the pin: slow through the pull-up, fast through the open collector.

    Thresholds are percent of the supply that the pull-up reaches.
    """

    rise_time_constant_us: Microseconds
    fall_time_constant_us: Microseconds
    upper_threshold_percent: InnerPercent = 60.0
    lower_threshold_percent: InnerPercent = 40.0


@dataclass(frozen=True)
class VrSettings:
    """An input for a VR sensor: it arms at a threshold and turns over at the zero crossing.

    `arming_mv` is ((rpm, mV), ...), straight between its points and level beyond them, by the speed
    that the time between two teeth tells at `teeth_a_turn`, teeth and gaps, of a crank turn. The
    input's level rises at the centre of a tooth and falls between teeth. `time_constant_us` is that
    of the low-pass before the comparator, R times C; 0 is none.
    """

    arming_mv: tuple[tuple[Rpm, Millivolts], ...]
    teeth_a_turn: Annotated[float, Range(above=0, maximum=1000)]
    time_constant_us: Microseconds = 0.0


@dataclass(frozen=True)
class InputSettings:
    """One input, from the pin to the edges that are let through.

    `inverted` turns the level over before anything looks at it. A `blanking_percent` is of the
    time between the last two edges let through.
    """

    line: str
    edge: EdgeChoice = "rising"
    inverted: bool = False
    rc: RcSettings | None = None
    filter_us: Microseconds = 0.0
    blanking_us: Microseconds = 0.0
    blanking_percent: Annotated[float, Range(0, 1000)] = 0.0
    vr: VrSettings | None = None


@dataclass(frozen=True)
class InterruptSettings:
    """What an edge costs the processor, and how many edges can wait beside the one in service."""

    crank_cost_us: Microseconds = 4.0
    cam_cost_us: Microseconds = 6.0
    waiting_edges: CountOrNone = 2
    overrun: Literal["ignore", "lose_sync"] = "ignore"


@dataclass(frozen=True)
class MissingTeeth:
    """`pitches` places a turn of the shaft, the last `missing` of them empty.

    The ratios are time between teeth over the time of the last ordinary pitch. Without tooth
    limits every period that is no gap is a tooth.
    """

    pitches: Count
    missing: Count
    gap_ratio_low: Ratio
    gap_ratio_high: Ratio
    tooth_ratio_low: Ratio = 0.0
    tooth_ratio_high: Ratio | None = None
    shaft: Shaft = "crank"


@dataclass(frozen=True)
class EvenTeeth:
    """Even teeth, counted from a mark of the second sensor, `teeth` between two marks."""

    teeth: Count
    mark_every: Shaft = "cam"
    tooth_ratio_low: Ratio = 0.0
    tooth_ratio_high: Ratio = 1000.0


@dataclass(frozen=True)
class AddedTooth:
    """Even teeth with one more between the last and the first, `added_at_percent` of a pitch on.

    A period below `short_ratio_high` times the one before begins the added pair.
    """

    teeth: Count
    added_at_percent: InnerPercent = 50.0
    short_ratio_high: Ratio = 0.75
    tooth_ratio_high: Ratio = 1000.0
    shaft: Shaft = "crank"


@dataclass(frozen=True)
class ToothPerCylinder:
    """One tooth for each cylinder: speed and a firing point, but not which cylinder's."""

    cylinders: Count
    tooth_ratio_low: Ratio = 0.0
    tooth_ratio_high: Ratio = 1000.0


@dataclass(frozen=True)
class UnevenWindows:
    """Windows on a cam, (opens, closes) in crank degrees after the first opens.

    The share of a window is its length over the time from the close of the window before to its
    own.
    """

    windows_deg: tuple[tuple[AngleInCycle, AngleInCycle], ...]
    share_tolerance_percent: Percent = 8.0


@dataclass(frozen=True)
class SlottedDisc:
    """`slits` a cam turn, and windows (opens, closes) in slits after the first opens."""

    slits: Count
    windows_slits: tuple[tuple[CountOrNone, CountOrNone], ...]
    count_tolerance: CountOrNone = 1


WheelSettings = (
    MissingTeeth | EvenTeeth | AddedTooth | ToothPerCylinder | UnevenWindows | SlottedDisc
)


@dataclass(frozen=True)
class PhaseSettings:
    """How the first turn of a cycle is told from the second, on wheels that repeat every turn.

    - `level`: the cam input is high at the reference that begins the first turn (or low).
    - `edge`: an edge of the cam comes within the window, in degrees after the reference, in the
      first turn.
    - `count`: so many cam edges come in the first turn, so many in the second.
    """

    by: Literal["none", "level", "edge", "count"] = "none"
    level: Level = "high"
    window_from_deg: AngleInTurn = 0.0
    window_to_deg: AngleInTurn = 360.0
    first_turn_edges: CountOrNone = 1
    second_turn_edges: CountOrNone = 0
    turns_wanted: Count = 1
    errors_allowed: CountOrNone = 0


@dataclass(frozen=True)
class SyncSettings:
    """What is asked of a signal before it is trusted, and what is forgiven later."""

    ignored_teeth: CountOrNone = 1
    teeth_wanted: CountOrNone = 2
    gaps_wanted: Count = 1
    errors_allowed: CountOrNone = 0
    stall_ms: Milliseconds = 500.0
    resync: Literal["at_once", "after_stop"] = "at_once"


@dataclass(frozen=True)
class EngineSettings:
    """Cylinders in firing order, each with its top dead centre in degrees after the first one's."""

    firing_order: tuple[Count, ...] = (1, 3, 4, 2)
    tdc_after_reference_deg: Degrees = 0.0
    firing_deg: tuple[AngleInCycle, ...] = (0.0, 180.0, 360.0, 540.0)


@dataclass(frozen=True)
class SpeedSettings:
    """Speed is averaged over `average_teeth` tooth periods."""

    average_teeth: Count = 8
    least_firing_rpm: Rpm = 30.0
    rev_limit_rpm: Rpm | None = None
    rev_limit_back_rpm: Rpm = 100.0
    cut: Literal["spark", "fuel", "both"] = "both"


@dataclass(frozen=True)
class IgnitionSettings:
    """Coils, dwell and advance.

    `advance_deg` holds at all speeds unless there is an `advance_table`, ((rpm, deg), ...),
    straight between its points and level beyond them. A coil never charges for longer than
    `longest_dwell_ms`, nor for more than `largest_dwell_percent` of the time between its sparks.
    """

    coils: Literal["one", "pairs", "per_cylinder"] = "per_cylinder"
    before_phase: Literal["wasted", "wait"] = "wasted"
    advance_deg: Degrees = 10.0
    advance_table: tuple[tuple[Rpm, Degrees], ...] | None = None
    dwell_ms: Milliseconds = 3.0
    longest_dwell_ms: Milliseconds = 10.0
    largest_dwell_percent: Percent = 80.0
    active: Level = "high"
    output_delay_us: Microseconds = 0.0


@dataclass(frozen=True)
class InjectionSettings:
    """Injectors, one a cylinder; each closes at its angle before top dead centre."""

    duration_ms: Milliseconds
    end_before_tdc_deg: Degrees = 360.0
    active: Level = "low"
    output_delay_us: Microseconds = 0.0


@dataclass(frozen=True)
class TachoSettings:
    """A square wave of so many pulses a crank turn."""

    pulses_a_turn: Count = 2


@dataclass(frozen=True)
class ReportSettings:
    """What the controller says of itself, and how. What does not fit into the buffer is not said.

    Text lines and binary records go over the serial port at `baud`, cyclic messages and OBD over
    CAN at `bitrate`. With `asked` lines and records come only in answer to a request; OBD always
    does.
    """

    speaks: Literal["text", "records", "can", "obd"] = "text"
    asked: bool = False
    rate_hz: Hertz = 25.0
    baud: Baud = 115_200
    buffer_bytes: Annotated[int, Range(80, 65_536)] = 256
    on_loss: bool = True
    bitrate: Annotated[int, Range(10_000, 1_000_000)] = 500_000


@dataclass(frozen=True)
class PowerSettings:
    """From its supply to the first edge that it sees, where a bench switches its supply."""

    boot_ms: Annotated[float, Range(0, 60_000)] = 0.0


@dataclass(frozen=True)
class ControllerSettings:
    """All settings of the simulated controller."""

    crank: InputSettings
    wheel: WheelSettings
    cam: InputSettings | None = None
    interrupts: InterruptSettings = field(default_factory=InterruptSettings)
    sync: SyncSettings = field(default_factory=SyncSettings)
    phase: PhaseSettings = field(default_factory=PhaseSettings)
    engine: EngineSettings = field(default_factory=EngineSettings)
    speed: SpeedSettings = field(default_factory=SpeedSettings)
    ignition: IgnitionSettings | None = field(default_factory=IgnitionSettings)
    injection: InjectionSettings | None = None
    tacho: TachoSettings | None = None
    report: ReportSettings = field(default_factory=ReportSettings)
    power: PowerSettings = field(default_factory=PowerSettings)

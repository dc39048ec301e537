"""What turns: a wheel is one or more tracks of teeth, each read by a sensor.

Angles are exact fractions of a degree. A tooth is metal under the sensor; whether metal reads high
or low at the controller's pin is the sensor's business.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

TURN = Fraction(360)
"""Degrees of one turn of any shaft."""

MOST_TRACKS = 8
"""Tracks of a wheel: the board has as many outputs, and a mask of one byte carries as many."""

Shaft = Literal["crank", "cam"]
SensorKind = Literal["hall", "vr"]
PinLevel = Literal["high", "low"]


@dataclass(frozen=True)
class Tooth:
    """Metal from `begin` to `end`, in degrees; `end` may exceed the turn it lies across."""

    begin: Fraction
    end: Fraction

    def __post_init__(self) -> None:
        if self.end <= self.begin:
            raise ValueError(f"a tooth must end after it begins: {self.begin} to {self.end}")

    @property
    def width(self) -> Fraction:
        """Degrees of metal."""
        return self.end - self.begin

    @property
    def centre(self) -> Fraction:
        """Degrees of its middle, where a VR sensor's signal crosses zero."""
        return (self.begin + self.end) / 2


@dataclass(frozen=True)
class DirectionPulse:
    """What a direction-sensing sensor answers to a tooth: a pulse whose width tells the way."""

    forward_us: Fraction
    reverse_us: Fraction


@dataclass(frozen=True)
class Amplitude:
    """How strong a VR sensor's signal is, and how strong the controller's input wants it.

    The half-wave of a tooth peaks at `mv_per_rpm` times the crank's speed at that moment, which
    counts up to `knee_rpm` (None: without end). Run-out makes it 1 + `run_out` cos(x) times that, x
    degrees of the track's own shaft from `closest_at`, where the air gap is smallest. A half-wave
    below `threshold_mv` is not seen; None: that is left to the controller.
    """

    mv_per_rpm: Fraction
    threshold_mv: Fraction | None
    knee_rpm: Fraction | None = None
    run_out: Fraction = Fraction(0)
    closest_at: Fraction = Fraction(0)


@dataclass(frozen=True)
class Sensor:
    """How metal becomes a signal; `metal` is the level at the controller's pin under a tooth.

    A VR sensor without `amplitude` is seen at any speed.
    """

    kind: SensorKind = "hall"
    metal: PinLevel = "high"
    direction: DirectionPulse | None = None
    amplitude: Amplitude | None = None


@dataclass(frozen=True)
class Track:
    """One row of teeth under one sensor.

    `teeth` are in degrees of the track's own shaft, each beginning in [0, 360), ascending, with air
    between any two of them.
    """

    name: str
    shaft: Shaft
    sensor: Sensor
    teeth: tuple[Tooth, ...]

    @property
    def crank_degrees_per_turn(self) -> Fraction:
        """Crank degrees in which the track's own shaft turns once."""
        return TURN if self.shaft == "crank" else 2 * TURN

    def passages(self, period: int) -> int:
        """How many teeth pass in `period` crank degrees."""
        return len(self.teeth) * int(period / self.crank_degrees_per_turn)

    def crank_teeth(self, period: int) -> tuple[Tooth, ...]:
        """Every tooth that passes in `period` crank degrees, in crank degrees, ascending.

        Each begins in [0, period). A cam track passes once in 720 crank degrees, a crank track
        twice.
        """
        turn = self.crank_degrees_per_turn
        scale = turn / TURN
        first = self.teeth
        if scale != 1:
            first = tuple(Tooth(tooth.begin * scale, tooth.end * scale) for tooth in first)
        later = (
            Tooth(tooth.begin + origin, tooth.end + origin)
            for origin in (turn * number for number in range(1, int(period / turn)))
            for tooth in first
        )
        return (*first, *later)


@dataclass(frozen=True)
class Wheel:
    """All that the sensors of one engine see, and where its cylinders stand.

    `period` is the crank degrees after which everything repeats, 360 or 720. `tdc` gives (cylinder,
    crank degrees of its firing TDC) in firing order and may be empty. `group` and `met` say what
    kind of pattern it is and where such patterns are met.
    """

    name: str
    summary: str
    period: int
    tracks: tuple[Track, ...]
    tdc: tuple[tuple[int, Fraction], ...] = ()
    group: str = ""
    met: str = ""

    @property
    def firing_order(self) -> tuple[int, ...]:
        """Cylinders as they fire, from the first that the file names."""
        return tuple(cylinder for cylinder, _ in self.tdc)

    @property
    def signal_period(self) -> int:
        """The crank degrees after which the signals repeat: each turn if all are of the crank."""
        return int(TURN if all(track.shaft == "crank" for track in self.tracks) else 2 * TURN)

    def dead_centres(self, cylinder: int) -> tuple[Fraction, ...]:
        """Where in 720 crank degrees a cylinder may be fired, none if nobody says: in each turn of
        a two-stroke, and where no signal tells the turns apart, so that a spark is wasted.
        """
        turns = range(0, 2 * int(TURN), self.signal_period)
        places = ((at + turn) % (2 * TURN) for n, at in self.tdc if n == cylinder for turn in turns)
        return tuple(sorted(places))

    def track(self, name: str) -> Track:
        """The track of that name. Raises KeyError."""
        for track in self.tracks:
            if track.name == name:
                return track
        raise KeyError(name)

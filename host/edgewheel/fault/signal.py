"""All that decides what the controller's pins see, put together from wheel, motion and faults."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from edgewheel.edges.captures.playback import Playback
from edgewheel.edges.levels import LevelTable, level_table
from edgewheel.errors import UsageError
from edgewheel.fault.model import (
    Changes,
    EdgeFault,
    Fault,
    MetalChange,
    MetalFault,
    MotionFault,
    SensorFault,
    VoltageFault,
)
from edgewheel.motion.motion import Motion
from edgewheel.wheel.angles import AngleTable, Passing, angle_table, passings
from edgewheel.wheel.model import Sensor, Wheel
from edgewheel.wheel.teeth import readable


@dataclass(frozen=True)
class SignalPlan:
    """The level table and the motion, faults of wheel and motion included, and the edge faults.

    `metal` is what passes the sensors, None for the wheel's own; `sound` the level table of the
    wheel without its faults, `prepared` what those faults changed, by name. `seed` and a fault's
    name decide its draws. A `capture` is played instead of all that; then `motion` says how its
    engine turned.
    """

    levels: LevelTable
    motion: Motion
    faults: Mapping[str, Fault] = field(default_factory=dict)
    sound: LevelTable | None = None
    prepared: Mapping[str, Changes] = field(default_factory=dict)
    seed: int = 0
    tdc_deg: tuple[Fraction, ...] = ()
    capture: Playback | None = None
    metal: AngleTable | None = None

    @property
    def edge_faults(self) -> dict[str, EdgeFault]:
        """The faults that edit the edge table, in their order."""
        return {name: f for name, f in self.faults.items() if isinstance(f, EdgeFault)}

    @property
    def voltage_faults(self) -> dict[str, VoltageFault]:
        """The faults of how strong voltages are, in their order."""
        return {name: f for name, f in self.faults.items() if isinstance(f, VoltageFault)}

    def weak_on(self, track: int) -> dict[str, VoltageFault]:
        """Those of a track, by its number."""
        name = self.levels.tracks[track]
        return {key: f for key, f in self.voltage_faults.items() if f.track == name}

    @property
    def turns_otherwise(self) -> bool:
        """Whether a fault has changed the motion."""
        return any(isinstance(fault, MotionFault) for fault in self.faults.values())


def signal_of(
    wheel: Wheel,
    sensors: Sequence[Sensor],
    motion: Motion,
    faults: Mapping[str, Fault],
    seed: int = 0,
) -> SignalPlan:
    """The signal plan of a wheel, `sensors` in the order of its tracks.

    Faults of motion, metal and sensors each work in the order in which they are given. Raises
    UsageError where one makes two teeth touch.
    """
    own = passings(wheel)
    metal: Sequence[Passing] = own
    passing = angle_table(wheel, own)
    sound = level_table(passing, tuple(sensors))
    connected = list(sensors)
    prepared: dict[str, Changes] = {}
    for name, fault in faults.items():
        if isinstance(fault, MetalFault):
            faulty = fault.reshape(wheel, metal)
            _refuse_collisions(name, wheel, faulty)
            changed = metal_changes(wheel, metal, faulty)
            prepared[name] = Changes(count=len(changed), metal=changed)
            metal = faulty
        elif isinstance(fault, SensorFault):
            connected = fault.connect(wheel, connected)
            prepared[name] = Changes(words="the sensor's leads are swapped for the whole run")
        elif isinstance(fault, VoltageFault):
            prepared[name] = Changes(words="teeth are played weaker, and every edge comes")
        elif isinstance(fault, MotionFault) and len(motion):
            turned = fault.turn(wheel, motion)
            later_s = float(turned.end_s - motion.end_s)
            prepared[name] = Changes(words=f"the motion begins {later_s:.6g} s later")
            motion = turned
    if metal is not own:
        passing = angle_table(wheel, metal)
    levels = level_table(passing, tuple(connected))
    tdc_deg = tuple(deg + turn for _, deg in wheel.tdc for turn in range(0, 720, wheel.period))
    return SignalPlan(levels, motion, dict(faults), sound, prepared, seed, tdc_deg, metal=passing)


def sound_signal(plan: SignalPlan) -> SignalPlan:
    """The same wheel, sound, under the same motion."""
    levels = plan.sound or plan.levels
    return replace(plan, levels=levels, faults={}, prepared={}, metal=None)


def metal_changes(
    wheel: Wheel, sound: Sequence[Passing], faulty: Sequence[Passing]
) -> tuple[MetalChange, ...]:
    """Every edge of metal that differs, in the order of the sound ones."""
    after = {(one.track, one.passage): one for one in faulty}
    changes = []
    for one in sound:
        other = after.get((one.track, one.passage))
        track = wheel.tracks[one.track]
        tooth = one.passage % len(track.teeth) + 1
        for edge in ("begin", "end"):
            was: Fraction = getattr(one, edge)
            now: Fraction | None = getattr(other, edge) if other else None
            if was != now:
                changes.append(MetalChange(track.name, tooth, edge, was, now))
    return tuple(changes)


def _refuse_collisions(name: str, wheel: Wheel, metal: Sequence[Passing]) -> None:
    for number, track in enumerate(wheel.tracks):
        teeth = sorted((one for one in metal if one.track == number), key=lambda one: one.begin)
        for one, other in zip(teeth, teeth[1:] + teeth[:1], strict=True):
            following = other.begin + (wheel.period if other is teeth[0] else 0)
            tooth = one.passage % len(track.teeth) + 1
            if one.end <= one.begin or following <= one.end:
                what = "vanishes" if one.end <= one.begin else "touches the next one"
                raise UsageError(
                    f"The fault '{name}' goes too far: tooth {tooth} of track '{track.name}' "
                    f"{what} at {readable(one.end % wheel.period)} degrees. Make it less, or take "
                    "the tooth away with 'missing_tooth'."
                )

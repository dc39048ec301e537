"""A plan: everything that decides a run, frozen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from typing import Literal

from edgewheel.bench.feed import LINE, Feed
from edgewheel.bench.half_wave_numbers import PAST_OUTPUT
from edgewheel.bench.signals import Limits, Signals
from edgewheel.bench.truth import CYCLE_DEG
from edgewheel.bench.voltages import HalfWaves, Voltage, lines_of, wave_configs
from edgewheel.controller.listening import CanListening, Lines, SerialListening
from edgewheel.controller.sim.settings import ControllerSettings
from edgewheel.edges.stage import OutputStage
from edgewheel.edges.supply import SupplyLine
from edgewheel.errors import UsageError
from edgewheel.fault.model import Fault, VoltageFault
from edgewheel.fault.numbers import NumberLines
from edgewheel.fault.signal import SignalPlan
from edgewheel.link.messages import Config
from edgewheel.motion.manoeuvres import RippleSource
from edgewheel.motion.motion import Motion
from edgewheel.wheel.angles import angle_table
from edgewheel.wheel.crossing import crossing_moved
from edgewheel.wheel.model import MOST_TRACKS, Wheel
from edgewheel.yamlfile import Node


@dataclass(frozen=True)
class BoardChoice:
    """The simulated board on a clock of its own, a board behind a port, or the only one on USB."""

    kind: Literal["sim", "port", "auto"] = "sim"
    port: str = ""
    tick_hz: int = 125_000_000


@dataclass(frozen=True)
class SimulatedController:
    """The simulated controller; `listening` is to the way in which it is set to speak."""

    settings: ControllerSettings
    listening: SerialListening | CanListening = field(default_factory=Lines)


@dataclass(frozen=True)
class SerialController:
    """A controller that reports on a serial port."""

    port: str
    baud: int = 115_200
    listening: SerialListening = field(default_factory=Lines)


@dataclass(frozen=True)
class CanController:
    """A controller that reports on a CAN bus, by an interface and channel of python-can."""

    interface: str
    channel: str
    bitrate: int
    listening: CanListening


ControllerChoice = SimulatedController | SerialController | CanController


@dataclass(frozen=True)
class StageTimes:
    """The output stage of one track: inversion, and delays to a rise and a fall in microseconds."""

    inverts: bool = False
    rise_us: Fraction = Fraction(0)
    fall_us: Fraction = Fraction(0)
    voltage: Voltage | None = None
    """Of a track that is played as a VR sensor's voltage."""
    origin: str = ""
    """Where the numbers are from, in words; empty if nobody says anything."""


def voltage_tracks(wheel: Wheel, stage: Sequence[StageTimes]) -> frozenset[str]:
    """The tracks of a wheel that are played as voltages, by name."""
    pairs = zip(wheel.tracks, stage, strict=True)
    return frozenset(track.name for track, times in pairs if times.voltage is not None)


@dataclass(frozen=True)
class Staircase:
    """A sweep: from `low_rpm` to `high_rpm` in steps and down again.

    Between points the speed ramps at `rpm_per_s`; at each it settles, then is held and judged. All
    of it is under `ripple`.
    """

    low_rpm: Fraction
    high_rpm: Fraction
    step_rpm: Fraction
    rpm_per_s: Fraction = Fraction(2000)
    settle_s: Fraction = Fraction(1, 4)
    hold_s: Fraction = Fraction(1, 2)
    ripple: RippleSource = None


@dataclass(frozen=True)
class Plan:
    """One bench file, understood."""

    name: str
    wheel: Wheel
    signal: SignalPlan
    board: BoardChoice
    controller: ControllerChoice
    stage: tuple[StageTimes, ...]
    signals: Signals
    limits: Limits
    seed: int
    sweep: Staircase | None
    document: Node
    inputs: tuple[tuple[str, str], ...] = field(default_factory=tuple)
    """(file name, text) of every file the plan was read from, for the run folder."""
    feed: Feed | None = None
    switchable: Mapping[str, Fault] | None = None
    """In a live run every fault that may come; else those of the signal are all there are."""

    def output_stage(self, tick_hz: int) -> OutputStage:
        """The output stage in a board's ticks, that of a switched supply included."""
        us = Fraction(tick_hz, 1_000_000)
        lines = [*self.stage]
        if self.feed is not None and self.supply is not None:
            lines += [StageTimes()] * (self.supply.track - len(lines))
            lines.append(StageTimes(inverts=self.feed.on_level == "low"))
        if self.number_lines:
            lines += [StageTimes()] * (MOST_TRACKS - len(lines))
        for one in self.number_lines:
            # At the very ticks of the track's crossings, whose stage is late by one time.
            late = replace(self.stage[one.track], inverts=False)
            lines[one.first : one.first + one.bits] = [late] * one.bits
        return OutputStage(
            tuple(times.inverts for times in lines),
            tuple(round(times.rise_us * us) for times in lines),
            tuple(round(times.fall_us * us) for times in lines),
        )

    @property
    def moved_crossings(self) -> tuple[str, ...]:
        """What the sensors of the bench file change in the timing of the wheel's tracks."""
        vr = {one.track for one in self.signal.levels.vr}
        moved = (
            crossing_moved(track, "vr" if number in vr else "hall")
            for number, track in enumerate(self.wheel.tracks)
        )
        return tuple(sentence for sentence in moved if sentence and self.signal.capture is None)

    @property
    def voltages(self) -> tuple[Voltage | None, ...]:
        """The tracks that are played as voltages, by number."""
        return tuple(times.voltage for times in self.stage)

    def waves(self, tick_hz: int) -> tuple[Config, ...]:
        """What a board of that clock is told of the voltages."""
        if not any(self.voltages):
            return ()
        inverts = [times.inverts for times in self.stage]
        played, sound = self._half_waves
        return wave_configs(self.voltages, inverts, played, sound, tick_hz, self.number_lines)

    @property
    def _half_waves(self) -> tuple[HalfWaves, HalfWaves]:
        """Those that are played, and those of the sound wheel."""
        signal, metal = self.signal, angle_table(self.wheel)
        played = HalfWaves(signal.levels, signal.metal or metal)
        return played, HalfWaves(signal.sound or signal.levels, metal)

    @cached_property
    def number_lines(self) -> tuple[NumberLines, ...]:
        """The outputs that tell of the half-waves of voltages what the board cannot know; none for
        a capture, which plays all teeth alike. Raises UsageError if too few are left.
        """
        signal, supply = self.signal, self.supply
        if signal.capture is not None or not any(self.voltages):
            return ()
        is_below = supply is not None and supply.track < PAST_OUTPUT
        used = supply.track + 1 if supply is not None and is_below else len(self.stage)
        live = self.switchable is not None
        faults = signal.faults if self.switchable is None else self.switchable
        weak = [fault for fault in faults.values() if isinstance(fault, VoltageFault)]
        return lines_of(self.voltages, *self._half_waves, weak, used, live)

    @property
    def lines(self) -> tuple[str, ...]:
        """What is on the board's outputs, in their order; unused ones between have no name."""
        tracks = self.signal.levels.tracks
        if self.supply is None:
            return tracks
        return (*tracks, *("",) * (self.supply.track - len(tracks)), LINE)

    @property
    def supply(self) -> SupplyLine | None:
        """The output that switches the controller's supply; in simulation one stands for commands,
        too.
        """
        if self.feed is None or (self.feed.command and self.board.kind != "sim"):
            return None
        return self.feed.line()

    @property
    def transitions_per_cycle(self) -> int:
        """Transitions of the board's outputs in 720 degrees without faults, to predict by."""
        levels = self.signal.levels
        pulsed = {pulse.track for pulse in levels.pulses}
        ends = sum(track in pulsed for track in levels.track)
        return (len(set(levels.angles)) + ends) * CYCLE_DEG // levels.period

    def with_motion(self, motion: Motion) -> Plan:
        """The same plan under another motion. Raises UsageError if a fault has changed its own."""
        if self.signal.turns_otherwise:
            raise UsageError(
                "A false start belongs to the bench file's own motion. Switch it off for a sweep: "
                "'off: true' beside its kind."
            )
        return replace(self, signal=replace(self.signal, motion=motion, capture=None))

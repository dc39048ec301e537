"""Pulse trains and good settings for the simulated controller's tests, from plain arithmetic.

The wheels are the library's first eight, typed in again as rising and falling edges in crank
degrees, so that these tests need neither wheel files nor the compiler of edges.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from textwrap import dedent

import numpy as np

from edgewheel import yamlfile
from edgewheel.controller.sim.controller import SimController
from edgewheel.controller.sim.reading import read_settings
from edgewheel.controller.sim.scheduler import Pulse
from edgewheel.controller.sim.settings import ControllerSettings

TICK_HZ = 16_000_000
START_TICK = 5_000
CYCLE_DEG = 720.0


@dataclass(frozen=True)
class Wheel:
    """`pulses` by line: (rise, fall) in crank degrees of a cycle; the level is 1 between them.

    `settings` fit it; with them the controller reaches `sync` and fires at `sparks` (by output, in
    crank degrees as the pulses are, at 10 degrees of advance).
    """

    pulses: dict[str, list[tuple[float, float]]]
    settings: str
    sync: str
    sparks: dict[str, list[float]]


@dataclass(frozen=True)
class Train:
    """Transitions of several lines: `ticks` (n,), `masks` (n,)."""

    lines: tuple[str, ...]
    initial_mask: int
    ticks: np.ndarray
    masks: np.ndarray

    def merged(self, other: Train) -> Train:
        """This train, then another that begins later."""
        ticks = np.concatenate((self.ticks, other.ticks))
        return replace(self, ticks=ticks, masks=np.concatenate((self.masks, other.masks)))


@dataclass(frozen=True)
class Report:
    """One report line: its tick, its seconds, and its fields."""

    tick: int
    rpm: float
    sync: str
    losses: int
    overruns: int
    cut: bool
    advance: float
    reason: str


@dataclass(frozen=True)
class Result:
    """What a controller answered."""

    outputs: tuple[str, ...]
    pulses: list[Pulse]
    reports: list[Report]
    lines: list[tuple[int, bytes]]

    @property
    def last(self) -> Report:
        return self.reports[-1]

    def edges(self, output: str, level: int) -> list[int]:
        """The ticks of an output's edges to this level."""
        line = self.outputs.index(output)
        return [p.tick for p in self.pulses if p.line == line and p.level == level]


def evenly(
    count: int, width: float, period: float = 360.0, keep: int | None = None, first: float = 0.0
) -> list[tuple[float, float]]:
    """Pulses `width` degrees wide, `count` a period, of which the first `keep` are there."""
    pitch = period / count
    starts = [
        first + turn * period + k * pitch
        for turn in range(round(CYCLE_DEG / period))
        for k in range(keep or count)
    ]
    return [(start, start + width) for start in starts]


def steady(rpm: float) -> Callable[[np.ndarray], np.ndarray]:
    """Seconds at which an angle is reached at constant speed."""
    return lambda deg: deg / (6 * rpm)


def ramp(from_rpm: float, rpm_per_s: float) -> Callable[[np.ndarray], np.ndarray]:
    """The same at constant acceleration, where deg = 6 (n t + a t^2 / 2)."""
    return lambda deg: (np.sqrt(from_rpm**2 + rpm_per_s * deg / 3) - from_rpm) / rpm_per_s


def rippled(rpm: float, depth: float, a_turn: int) -> Callable[[np.ndarray], np.ndarray]:
    """Seconds at which an angle is reached at rpm x (1 + depth x cos(a_turn x angle))."""

    def seconds_at(deg: np.ndarray) -> np.ndarray:
        grid = np.linspace(0, max(deg.max(), 1.0), 20 * int(deg.max() + 360))
        pace = 1 / (6 * rpm * (1 + depth * np.cos(np.deg2rad(a_turn * grid))))
        seconds = np.concatenate(([0.0], np.cumsum((pace[1:] + pace[:-1]) / 2 * np.diff(grid))))
        return np.interp(deg, grid, seconds)

    return seconds_at


def train(
    pulses: dict[str, list[tuple[float, float]]],
    seconds_at: Callable[[np.ndarray], np.ndarray],
    turns: float,
    from_deg: float = 0.0,
    start_tick: int = START_TICK,
    tick_hz: int = TICK_HZ,
) -> Train:
    """The transitions from one angle on; edges at one tick share one transition."""
    cycles = np.arange(-1, np.ceil((from_deg + 360 * turns) / CYCLE_DEG) + 1) * CYCLE_DEG
    degs, bits, levels = [], [], []
    for bit, spans in enumerate(pulses.values()):
        for level, column in ((1, 0), (0, 1)):
            deg = (cycles[:, None] + np.array(spans)[None, :, column]).ravel()
            degs.append(deg)
            bits.append(np.full(len(deg), bit))
            levels.append(np.full(len(deg), level))
    deg, bit, level = map(np.concatenate, (degs, bits, levels))
    order = np.argsort(deg, kind="stable")
    deg, bit, level = deg[order], bit[order], level[order]
    lines_at = np.zeros((len(deg), len(pulses)), np.int64)
    for column in range(len(pulses)):
        at = np.maximum.accumulate(np.where(bit == column, np.arange(len(deg)), -1))
        lines_at[:, column] = np.where(at < 0, 0, level[at])
    masks = (lines_at << np.arange(len(pulses))).sum(axis=1)
    wanted = (deg >= from_deg) & (deg < from_deg + 360 * turns)
    initial_mask = int(masks[np.flatnonzero(wanted)[0] - 1])
    ticks = start_tick + np.rint(seconds_at(deg[wanted] - from_deg) * tick_hz).astype(np.int64)
    last_of_tick = np.diff(ticks, append=ticks[-1] + 1) > 0
    masks = masks[wanted][last_of_tick].astype(np.uint8)
    return Train(tuple(pulses), initial_mask, ticks[last_of_tick], masks)


def settings_from(*texts: str, **changes: str) -> ControllerSettings:
    """Settings from pieces of YAML, with values changed by address, dots written as `__`."""
    text = "\n".join(dedent(piece).strip() for piece in texts)
    node = yamlfile.parse(text, "controller.yaml")
    for address, value in changes.items():
        node = node.with_value(address.replace("__", "."), value)
    return read_settings(node)


def run(
    signal: Train,
    settings: ControllerSettings,
    rest_s: float = 0.0,
    cut_ticks: int = TICK_HZ // 20,
    tick_hz: int = TICK_HZ,
) -> Result:
    """Feed a train, then silence for `rest_s`, in cuts of equal length; collect the answers."""
    controller = SimController(settings, tick_hz, signal.lines, signal.initial_mask)
    end = int(signal.ticks[-1]) + round(rest_s * tick_hz)
    nows = [*range(cut_ticks, end, cut_ticks), end]
    pulses: list[Pulse] = []
    lines: list[tuple[int, bytes]] = []
    begin = 0
    for now in nows:
        stop = int(np.searchsorted(signal.ticks, now, side="right"))
        output = controller.feed(signal.ticks[begin:stop], signal.masks[begin:stop], now)
        pulses += output.pulses
        lines += output.serial
        begin = stop
    return Result(controller.outputs, pulses, [_report(*line) for line in lines], lines)


def spark_angles(
    result: Result, output: str, rpm: float, from_deg: float = 0.0, tick_hz: int = TICK_HZ
) -> list[float]:
    """Where in the cycle an output, active high, fell; at constant speed."""
    ticks = np.array(result.edges(output, 0))
    return list((from_deg + (ticks - START_TICK) / tick_hz * 6 * rpm) % CYCLE_DEG)


_LINE = re.compile(
    rb"t=\S+ rpm=(\S+) sync=(\w+) losses=(\d+) overruns=(\d+) "
    rb'cut=(\w+) advance=(\S+) reason="([^"]*)"\r\n'
)


def _report(tick: int, line: bytes) -> Report:
    found = _LINE.fullmatch(line)
    assert found, line
    rpm, sync, losses, overruns, cut, advance, reason = (group.decode() for group in found.groups())
    return Report(
        tick, float(rpm), sync, int(losses), int(overruns), cut == "yes", float(advance), reason
    )


FOUR_AT_84 = {"coil_1": [74.0], "coil_3": [254.0], "coil_4": [434.0], "coil_2": [614.0]}

WHEELS = {
    "60-2 with half-moon cam": Wheel(
        pulses={"crank": evenly(60, 3, keep=58), "cam": [(400.0, 760.0)]},
        settings="""
            crank: {line: crank, blanking_percent: 20}
            cam: {line: cam}
            wheel: {kind: missing_teeth, pitches: 60, missing: 2,
                    gap_ratio_low: 2.0, gap_ratio_high: 4.0}
            phase: {by: level, level: high, turns_wanted: 2}
            engine: {tdc_after_reference_deg: 84}
            ignition: {dwell_ms: 2.5}
            sync: {gaps_wanted: 1, errors_allowed: 0, stall_ms: 500, resync: at_once}
            """,
        sync="full",
        sparks=FOUR_AT_84,
    ),
    "36-1": Wheel(
        pulses={"crank": evenly(36, 5, keep=35)},
        settings="""
            crank: {line: crank, blanking_percent: 20}
            wheel: {kind: missing_teeth, pitches: 36, missing: 1,
                    gap_ratio_low: 1.5, gap_ratio_high: 2.7}
            engine: {tdc_after_reference_deg: 80}
            ignition: {coils: pairs, dwell_ms: 2.5}
            """,
        sync="crank",
        sparks={"coil_1_4": [70.0, 430.0], "coil_3_2": [250.0, 610.0]},
    ),
    "36-2": Wheel(
        pulses={"crank": evenly(36, 5, keep=34)},
        settings="""
            crank: {line: crank, blanking_percent: 20}
            wheel: {kind: missing_teeth, pitches: 36, missing: 2,
                    gap_ratio_low: 2.0, gap_ratio_high: 4.0}
            engine: {tdc_after_reference_deg: 100}
            ignition: {coils: pairs, dwell_ms: 2.5}
            """,
        sync="crank",
        sparks={"coil_1_4": [90.0, 450.0], "coil_3_2": [270.0, 630.0]},
    ),
    "even 12 with one-tooth cam": Wheel(
        pulses={"crank": evenly(12, 15), "cam": [(680.0, 700.0)]},
        settings="""
            crank: {line: crank, blanking_percent: 20}
            cam: {line: cam}
            wheel: {kind: even_teeth, teeth: 24, mark_every: cam}
            engine:
              firing_order: [1, 5, 3, 6, 2, 4]
              firing_deg: [0, 120, 240, 360, 480, 600]
              tdc_after_reference_deg: 90
            ignition: {dwell_ms: 2.5}
            """,
        sync="full",
        sparks={
            "coil_1": [50.0],
            "coil_5": [170.0],
            "coil_3": [290.0],
            "coil_6": [410.0],
            "coil_2": [530.0],
            "coil_4": [650.0],
        },
    ),
    "12 and one added": Wheel(
        pulses={"crank": sorted([*evenly(12, 7.5), (345.0, 350.0), (705.0, 710.0)])},
        settings="""
            crank: {line: crank}
            wheel: {kind: added_tooth, teeth: 12}
            engine: {firing_order: [1, 2], firing_deg: [0, 360], tdc_after_reference_deg: 75}
            ignition: {coils: one, dwell_ms: 2.5}
            """,
        sync="crank",
        sparks={"coil": [65.0, 425.0]},
    ),
    "one tooth a cylinder": Wheel(
        pulses={"cam": evenly(4, 60, period=720, first=10)},
        settings="""
            crank: {line: cam}
            wheel: {kind: tooth_per_cylinder, cylinders: 4}
            engine: {tdc_after_reference_deg: 30}
            ignition: {coils: one, dwell_ms: 2.5}
            speed: {average_teeth: 2, least_firing_rpm: 10}
            sync: {stall_ms: 3000}
            """,
        sync="firing",
        sparks={"coil": [30.0, 210.0, 390.0, 570.0]},
    ),
    "uneven windows on a cam": Wheel(
        pulses={"cam": [(140.0, 210.0), (320.0, 390.0), (500.0, 570.0), (650.0, 750.0)]},
        settings="""
            crank: {line: cam, edge: both}
            wheel:
              kind: uneven_windows
              windows_deg: [[0, 100], [210, 280], [390, 460], [570, 640]]
            engine: {tdc_after_reference_deg: 120}
            ignition: {dwell_ms: 2.5}
            speed: {average_teeth: 8, least_firing_rpm: 10}
            sync: {stall_ms: 2000}
            """,
        sync="full",
        sparks={"coil_1": [40.0], "coil_3": [220.0], "coil_4": [400.0], "coil_2": [580.0]},
    ),
    "360-slit disc with unequal windows": Wheel(
        pulses={
            "angle": evenly(360, 1, period=720),
            "window": [(40, 88), (160, 176), (280, 304), (400, 432), (520, 560), (640, 648)],
        },
        settings="""
            crank: {line: angle, edge: falling}
            cam: {line: window, edge: both}
            wheel:
              kind: slotted_disc
              slits: 360
              windows_slits: [[0, 24], [60, 68], [120, 132], [180, 196], [240, 260], [300, 304]]
            engine:
              firing_order: [1, 5, 3, 6, 2, 4]
              firing_deg: [0, 120, 240, 360, 480, 600]
              tdc_after_reference_deg: 19
            ignition: {coils: one, dwell_ms: 2.5}
            """,
        sync="full",
        sparks={"coil": [50.0, 170.0, 290.0, 410.0, 530.0, 650.0]},
    ),
}

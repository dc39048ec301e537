"""Timing from pulses that the real image captured: emulated board, real host, sim controller.

The controller hears of the pins by quanta of the emulator, so its pulses are given back a fixed
2 ms late, which must show as delay.
"""

from __future__ import annotations

from pathlib import Path

import can
import numpy as np
import pytest

from edgewheel.bench.loader import load_plan
from edgewheel.bench.runner import Runner
from edgewheel.bench.wired import ControllerOnPins
from edgewheel.controller.sim.reading import read_settings
from edgewheel.controller.sim.speaks_can import DBC
from edgewheel.edges.stage import OutputStage
from edgewheel.link.pinbus import Transitions
from edgewheel.search.recorded import RecordedRun
from edgewheel.search.timing import timing_of
from edgewheel.yamlfile import parse
from firmware.kit.emulator import HZ, MS
from firmware.kit.served import Pulse, Served
from real_time_bench import message_of

CHANNEL = "edgewheel-rp2040"
LATE_TICKS = 2 * MS
SETTINGS = """\
crank: {line: crank}
cam: {line: cam}
wheel: {kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}
phase: {by: level, level: high}
engine: {tdc_after_reference_deg: 91}
ignition: {output_delay_us: 150, dwell_ms: 2}
report: {speaks: can, rate_hz: 200}
"""
BENCH = """\
format: 1
name: Captured by the emulated board
wheel: 60-minus-2-half-moon-cam
board: BOARD
controller: {kind: can, interface: virtual, channel: CHANNEL, dbc: fan.dbc}
signals:
  advance: not_reported
  advance_deg: 10
  outputs: {in1: {ignition: 1}, in2: {ignition: 3}, in3: {ignition: 4}, in4: {ignition: 2}}
motion: {segments: [{hold: 1500, seconds: 0.5}, {hold: 4500, seconds: 0.2}]}
"""


class Peer:
    """The simulated controller on the emulated pins; it reports on a virtual CAN bus."""

    def __init__(self, bus: can.BusABC) -> None:
        settings = read_settings(parse(SETTINGS, "controller.yaml"))
        stage = OutputStage.straight(2)
        self._wired = ControllerOnPins(settings, HZ, ("crank", "cam"), stage, 4)
        self._bus = bus

    def hear(self, moved: list[tuple[int, int]], tick: int) -> list[Pulse]:
        ticks = np.array([at for at, _ in moved], np.int64)
        masks = np.array([mask for _, mask in moved], np.uint8)
        pulses = self._wired.exchange(Transitions(ticks, masks), tick)
        for _, frame in self._wired.take_serial():
            self._bus.send(message_of(frame))
        return [(pulse.tick + LATE_TICKS, pulse.input, pulse.level) for pulse in pulses]


@pytest.mark.slow
def test_angle_and_delay_are_told_from_captured_pulses(image: Path, tmp_path: Path) -> None:
    (tmp_path / "fan.dbc").write_text(DBC)
    with can.Bus(CHANNEL, interface="virtual", ignore_config=True) as bus:
        board = Served(image, Peer(bus).hear)
        try:
            bench = tmp_path / "bench.yaml"
            bench.write_text(BENCH.replace("BOARD", board.url).replace("CHANNEL", CHANNEL))
            runner = Runner(load_plan(bench), tmp_path / "runs")
            list(runner.events())
        finally:
            board.close()
    assert runner.verdict.verified
    found = timing_of([RecordedRun(runner.folder)]).ignition
    assert found.turn == "right"
    assert found.reference_deg is not None and found.delay_us is not None
    assert found.reference_deg.value == pytest.approx(-7, abs=0.1)
    assert found.delay_us.value == pytest.approx(150 + 2000, abs=2)

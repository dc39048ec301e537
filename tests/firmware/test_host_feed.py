"""The controller's supply on a spare output of the real image in the emulator, in real time."""

from __future__ import annotations

from pathlib import Path

import pytest

from edgewheel.bench.events import Finished, Reported
from edgewheel.bench.loader import load_plan
from edgewheel.bench.rig import Rig
from edgewheel.controller.sim.reading import read_settings
from edgewheel.yamlfile import parse
from firmware.kit.wired import WiredBoard

pytestmark = [pytest.mark.slow, pytest.mark.realtime]

CONTROLLER = """\
crank: {line: crank}
cam: {line: cam}
wheel: {kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}
phase: {by: level, level: high}
engine: {tdc_after_reference_deg: 84}
power: {boot_ms: 150}
"""

BENCH = """\
format: 1
name: Key-on through the image
wheel: 60-minus-2-half-moon-cam
board: BOARD
controller: {kind: serial, port: CONTROLLER}
signals: {sync: {field: sync, synced: [full]}}
feed: {output: 3, FEED}
motion: {segments: [{hold: 900, seconds: 1}]}
limits: {sync_within_s: 0.5, silence_ms: 3000, report_latency_ms: 500}
"""


@pytest.mark.parametrize(
    ("feed", "earliest_s", "latest_s"),
    [("off: 0.2, boot: 0.2", 0.0, 0.5), ("off: 0.2, boot: 0.2, turning: 0.3", 0.45, 0.95)],
)
def test_the_controller_starts_when_the_output_gives_it_a_supply(
    image: Path, tmp_path: Path, feed: str, earliest_s: float, latest_s: float
) -> None:
    """Its own clock begins with its supply; pins and pulses meet by quanta, so times are coarse."""
    settings = read_settings(parse(CONTROLLER, "controller.yaml"))
    board = WiredBoard(image, settings, ("crank", "cam", "supply"), supply="supply")
    file = tmp_path / "bench.yaml"
    file.write_text(
        BENCH.replace("BOARD", board.url)
        .replace("port: CONTROLLER", f"port: {board.controller_url}")
        .replace("FEED", feed)
    )
    try:
        heard = list(Rig().run(load_plan(file)))
    finally:
        board.close()
    reports = [event for event in heard if isinstance(event, Reported)]
    assert float(str(reports[0].fields["t"])) < 0.1
    synced = next(report for report in reports if report.fields["sync"] == "full")
    assert earliest_s < synced.seconds < latest_s
    assert next(event for event in heard if isinstance(event, Finished)).verified

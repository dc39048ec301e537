"""What the pages look like, at three sizes. Renew with `pytest --snapshot-update` and look at the
difference: the SVG files open in a browser.
"""

import asyncio
from dataclasses import replace
from fractions import Fraction

import pytest
from syrupy.extensions.single_file import SingleFileSnapshotExtension, WriteMode

from console_kit import console, press, settle, svg
from edgewheel.bench.events import Pulsed, RawBytes, SyncGained, SyncLost
from edgewheel.bench.live.state import FaultState, LastLoss, LivePhase
from edgewheel.bench.search_record import Trial
from edgewheel.console.desk import FIRST
from edgewheel.console.search.job import Job, Running, Stage
from edgewheel.console.search.pictures import along
from edgewheel.console.watch import Speeds
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import hold
from edgewheel.search.axis import Axis

SIZES = [(80, 24), (120, 40), (200, 60)]


class SvgExtension(SingleFileSnapshotExtension):
    """One SVG file a snapshot, as text."""

    _write_mode = WriteMode.TEXT
    file_extension = "svg"


@pytest.fixture
def same(snapshot, monkeypatch):
    """A snapshot in colour, whatever the machine says."""
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TEXTUAL_COLOR_SYSTEM", "truecolor")
    return snapshot.use_extension(SvgExtension)


def drawn(scenario, size):
    async def play():
        async with console(size) as (app, pilot):
            await scenario(app, pilot)
            await settle(app, pilot)
            return svg(app)

    return asyncio.run(play())


def turn_with_a_fault(bench, watch):
    """An engine at 3000 rpm whose bouncing sensor made the controller lose sync once."""
    bench.motion = Motion([hold(Fraction(3000), seconds=Fraction(1000))])
    bench.fault("bounce", FaultState.HELD)
    bench.be(
        phase=LivePhase.TURNING,
        seconds=12.0,
        set_rpm=3000.0,
        pin_rpm=3000.0,
        crank_deg=462.0,
        reported_rpm=2998.0,
        synced=True,
        losses=1,
        last_loss=LastLoss(9.017, "it reports no sync (no gap after tooth 58)"),
        active=("bounce",),
    )
    for tenth in range(200):
        true = min(850 + 20 * tenth, 3000)
        watch.speeds.append(Speeds(true, true if tenth < 120 or tenth > 140 else 2 * true))
    said = "t=9.0 rpm=2998.0 sync=full losses=1 cut=no advance=10.0"
    bench.events += [RawBytes(0, 9.0, f"{said}\r\n".encode())] * 30
    bench.events += [
        SyncGained(0.085, 850.0),
        SyncLost(9.017, 3000.0, "said", "it reports no sync", "no gap after tooth 58"),
    ]
    for cycle in range(20):
        fired_s = 10 + cycle * 0.04 + (84 - 10 + 0.05 * (cycle % 3)) / 18000
        bench.events += [
            Pulsed(0, fired_s - 0.0025, "coil_1", 1),
            Pulsed(0, fired_s, "coil_1", 0),
        ]


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_the_bench(size, same):
    async def scenario(app, pilot):
        await press(app, pilot, "f5")
        turn_with_a_fault(app.desk.player, app.desk.watch)
        await press(app, pilot, "down", "up")

    assert drawn(scenario, size) == same


class Played(Job):
    """A search that shows one stage."""

    name = "Threshold"
    folder = FIRST.parent

    def stages(self):
        return iter(())

    def stop(self):
        """Nothing goes on."""


def trials():
    axis = Axis("faults.bounce.delay_us", 8.0, 200.0)
    tried = [
        (8.0, True), (200.0, False), (104.0, False), (56.0, False), (32.0, True), (44.0, True),
    ]  # fmt: skip
    rows = [
        (value, Trial(n, "", n, held, "sync after 0.1 s" if held else "no sync", "", 1.0))
        for n, (value, held) in enumerate(tried)
    ]
    return axis, rows


@pytest.mark.parametrize("size", SIZES[:2], ids=str)
def test_a_search(size, same):
    async def scenario(app, pilot):
        await press(app, pilot, "f3")
        axis, rows = trials()
        app.running = Running(Played())
        words = tuple(f"{trial.number + 1:4d}  {value:g}  {trial.detail}" for value, trial in rows)
        picture = along(axis, rows, (70, 8))
        app.running.stage = Stage(0.4, "trial 6", words, picture)
        app.running = replace_clock(app.running)

    assert drawn(scenario, size) == same


def replace_clock(running):
    """The same, begun a minute ago by a clock that stands still."""

    class Still:
        def now_ns(self):
            return 60_000_000_000

    running._clock, running._begun_ns = Still(), 0
    return running


@pytest.mark.parametrize("size", SIZES[:1], ids=str)
@pytest.mark.parametrize("keys", [("f4",), ("e",), ("w",), ("f1",), ("c",)], ids="-".join)
def test_what_keys_open(keys, size, same, tmp_path):
    async def scenario(app, pilot):
        app.desk.runs = tmp_path
        await press(app, pilot, *keys)

    assert drawn(scenario, size) == same


def test_no_color(monkeypatch):
    """Without colours every state still stands there in words."""
    monkeypatch.setenv("NO_COLOR", "1")

    async def scenario(app, pilot):
        await press(app, pilot, "f5")
        turn_with_a_fault(app.desk.player, app.desk.watch)
        app.desk.player.be(synced=False)

    seen = drawn(scenario, (80, 24))
    assert "NO&#160;SYNC" in seen and "HELD" in seen
    colours = {part[:7] for part in seen.split("fill: ")[1:]}
    colours -= {"#c5c8c6"}  # of the frame that the export draws around it
    assert all(len({c[1:3], c[3:5], c[5:7]}) == 1 for c in colours if c.startswith("#")), colours


def test_a_frozen_state_is_all_that_is_needed():
    """The same state is drawn the same, twice."""

    async def scenario(app, pilot):
        await press(app, pilot, "f5")
        app.desk.player.state = replace(app.desk.player.state, crank_deg=123.0)

    assert drawn(scenario, (80, 24)) == drawn(scenario, (80, 24))

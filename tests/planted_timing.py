"""Recorded runs of a simulated controller that is set wrong in known ways."""

from pathlib import Path

from edgewheel.bench.loader import load_plan
from edgewheel.bench.runner import Runner
from edgewheel.search.recorded import RecordedRun

WHEEL = """\
format: 1
name: Sixty minus two, width {width}
summary: 58 teeth and a gap on the crank, a half-moon on the cam
period: 720
tracks:
  crank: {{shaft: crank, teeth: {{pitches: 60, missing: 2, width: {width}}}}}
  cam: {{shaft: cam, teeth: [[20, 200]]}}
tdc: {{1: 84, 3: 264, 4: 444, 2: 624}}
"""

BENCH = """\
format: 1
name: Planted, width {width}
wheel: ./wheel.yaml
controller:
  kind: sim
  settings:
    crank: {{line: crank, edge: {edge}}}
    cam: {{line: cam, edge: rising}}
    wheel: {{kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}}
    phase: {{by: {by}, level: {phase}}}
    engine: {{firing_order: [1, 3, 4, 2], tdc_after_reference_deg: {tdc}{engine}}}
    ignition: {{advance_deg: 10, output_delay_us: {delay_us}{ignition}}}
{more}
signals: {{{signals}}}
motion:
  segments: [{motion}]
"""

TWO_SPEEDS = "{hold: 1000, seconds: 0.8}, {hold: 4000, seconds: 0.4}"


def play(
    folder: Path,
    width: str = "1/2",
    edge: str = "rising",
    phase: str = "low",
    tdc: float = 84,
    delay_us: float = 0,
    ignition: str = "",
    more: str = "",
    signals: str = "advance: not_reported, advance_deg: 10",
    motion: str = TWO_SPEEDS,
    tracks: str = "",
    by: str = "level",
    engine: str = "",
) -> RecordedRun:
    """Play one run under `folder` and open its record."""
    folder.mkdir(parents=True)
    (folder / "wheel.yaml").write_text(tracks or WHEEL.format(width=width))
    bench = folder / "bench.yaml"
    text = BENCH.format(
        width=width.replace("/", " over "),
        edge=edge,
        by=by,
        phase=phase,
        tdc=tdc,
        engine=f", {engine}" if engine else "",
        delay_us=delay_us,
        ignition=f", {ignition}" if ignition else "",
        more=more,
        signals=signals,
        motion=motion,
    )
    bench.write_text(text)
    runner = Runner(load_plan(bench), folder / "runs")
    for _ in runner.events():
        pass
    return RecordedRun(runner.folder)


def two_widths(folder: Path, **planted) -> list[RecordedRun]:
    """The same twice, with teeth half and a third of a pitch wide."""
    return [
        play(folder / name, width=width, **planted)
        for name, width in (("half", "1/2"), ("third", "1/3"))
    ]

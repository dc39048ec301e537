"""A small simulated bench for the tests of faults: what the controller makes of a faulty signal."""

import tempfile
from dataclasses import dataclass, field
from pathlib import Path

from edgewheel.bench.events import Pulsed, Reported, SyncGained, SyncLost
from edgewheel.bench.loader import load_plan
from edgewheel.bench.rig import Rig
from edgewheel.bench.truth import Truth, signed_deg

SIXTY = """
format: 1
name: Fan
wheel: {wheel}
board: {{kind: sim, tick_hz: 16000000}}
sensors: {sensors}
controller:
  kind: sim
  settings:
    crank: {{line: crank, edge: {edge}, filter_us: {filter}, blanking_percent: {blanking}}}
    cam: {{line: cam}}
    wheel: {decoder}
    phase: {{by: level, level: high}}
    engine: {{firing_order: [1, 3, 4, 2], tdc_after_reference_deg: 84}}
    sync: {{stall_ms: 200}}
motion: {{segments: {motion}}}
limits: {{sync_within_s: 1}}
faults: {faults}
"""

MISSING = (
    "{{kind: missing_teeth, pitches: 60, missing: 2, "
    "gap_ratio_low: {low}, gap_ratio_high: 4{more}}}"
)

ADVANCE_DEG = 10


@dataclass
class Heard:
    """What a run showed: seconds of sync gained, losses, reports, and how late each spark was."""

    gained: list[float] = field(default_factory=list)
    lost: list[SyncLost] = field(default_factory=list)
    reports: list[dict] = field(default_factory=list)
    late_deg: list[float] = field(default_factory=list)

    @property
    def kept(self) -> bool:
        """Sync came once and stayed."""
        return len(self.gained) == 1 and not self.lost


def play(
    faults: str = "{}",
    *,
    wheel: str = "60-minus-2-half-moon-cam",
    motion: str = "[{hold: 1500, seconds: 0.8}]",
    edge: str = "rising",
    blanking: int = 0,
    filter: float = 0,
    low: float = 2.2,
    more: str = "",
    sensors: str = "{}",
    decoder: str | None = None,
) -> Heard:
    text = SIXTY.format(
        wheel=wheel, sensors=sensors, edge=edge, filter=filter, blanking=blanking, motion=motion,
        faults=faults, decoder=decoder or MISSING.format(low=low, more=more),
    )  # fmt: skip
    return play_text(text)


def play_text(text: str) -> Heard:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.yaml"
        path.write_text(text)
        plan = load_plan(path)
    truth, heard = Truth(plan.signal.motion), Heard()
    tdc = dict(plan.wheel.tdc)
    for event in Rig().run(plan):
        if isinstance(event, SyncGained):
            heard.gained.append(event.seconds)
        elif isinstance(event, SyncLost):
            heard.lost.append(event)
        elif isinstance(event, Reported):
            heard.reports.append(dict(event.fields, seconds=event.seconds))
        elif isinstance(event, Pulsed) and heard.gained:
            line = plan.signals.sparks.get(event.line)
            if line is not None and event.level == (line.edge == "rise"):
                angle = truth.angle_deg(event.seconds) + ADVANCE_DEG
                errors = [signed_deg(angle - float(tdc[n])) for n in line.cylinders]
                heard.late_deg.append(min(errors, key=abs))
    return heard

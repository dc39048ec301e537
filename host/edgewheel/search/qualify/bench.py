"""The bench that a suite is played on: one bench file, and any trial made from it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path

from edgewheel.bench.loader import load_plan, read_plan
from edgewheel.bench.plan import Plan
from edgewheel.errors import UsageError
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import Segment, hold, ramp
from edgewheel.search.trial import start_deg
from edgewheel.wheel.landmarks import main_track
from edgewheel.wheel.model import Track
from edgewheel.yamlfile import Node

RUN_UP_RPM_PER_S = Fraction(5000)
SETTLE_S, SETTLE_TURNS = Fraction(1, 5), 4
"""At a speed at which sync is to be found before anything is asked of it."""

NO_FAULTS: Mapping[str, Node] = {}


@dataclass(frozen=True)
class QualifyBench:
    """A bench file, understood once; its motion, sweep and capture are not used."""

    file: Path
    plan: Plan
    _kept: dict[str, Node] = field(default_factory=dict)

    @property
    def main_track(self) -> Track:
        return main_track(self.plan.wheel)

    def trial(
        self, segments: Iterable[Segment], seed: int, faults: Mapping[str, Node] = NO_FAULTS
    ) -> Plan:
        """A trial's plan: this motion from a crank angle that the seed draws, with these faults
        beside the bench file's own. Raises FileError, UsageError.
        """
        return self.from_angle(segments, start_deg(seed), seed, faults)

    def from_angle(
        self,
        segments: Iterable[Segment],
        begin_deg: Fraction,
        seed: int,
        faults: Mapping[str, Node] = NO_FAULTS,
    ) -> Plan:
        """The same from a stated crank angle."""
        document = self.plan.document
        nodes = {**self._kept, "seed": Node(document.place, str(seed))}
        if faults:
            own = self._kept["faults"].section().nodes if "faults" in self._kept else {}
            nodes["faults"] = Node(document.place, {**own, **faults})
        plan = read_plan(replace(document, content=nodes), self.file)
        motion = Motion(segments, begin_deg, self.plan.signal.motion.cams)
        return replace(plan.with_motion(motion), inputs=self.plan.inputs)


def load_bench(file: Path) -> QualifyBench:
    """The bench in a bench file. Raises FileError, UsageError."""
    return bench_of(file, load_plan(file))


def bench_of(file: Path, plan: Plan) -> QualifyBench:
    """The bench of a plan that was read already. Raises UsageError."""
    if plan.signal.capture is not None:
        raise UsageError(
            f"{file} replays a capture, which turns as it turned. Write a bench file without "
            "'capture:' to qualify a controller."
        )
    kept = dict(plan.document.section().nodes)
    for unused in ("motion", "sweep"):
        kept.pop(unused, None)
    return QualifyBench(file, plan, kept)


def run_up(rpm: Fraction) -> list[Segment]:
    """From standstill to a speed, held there until there should be sync."""
    return [
        ramp(Fraction(0), rpm, rpm_per_s=RUN_UP_RPM_PER_S),
        hold(rpm, seconds=SETTLE_S + SETTLE_TURNS * 60 / rpm),
    ]


def stay(rpm: Fraction, seconds: Fraction) -> Segment:
    """A speed held for a time, and long enough to judge it if the engine turns slowly."""
    return hold(rpm, seconds=seconds + SETTLE_TURNS * 60 / rpm)

"""What the bench sees of a controller in one try: what it says, and where its sparks stand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from statistics import median

from edgewheel.bench.events import Finished, Pulsed, Reported
from edgewheel.bench.plan import Plan
from edgewheel.bench.rig import Rig
from edgewheel.bench.truth import Truth, signed_deg
from edgewheel.controller.lines import value
from edgewheel.errors import BenchError

MOSTLY = 0.9
"""The share of the last reports that must say the same."""

SPEED_ERROR = 0.03
ANGLE_ERROR_DEG = 0.6
"""More than a controller's own delay at a moderate speed, less than a narrow tooth's width."""


class Stage(IntEnum):
    """How far the controller comes with a signal."""

    NOTHING = 0
    PARTLY = 1
    """It knows more than at rest, but does not claim to be in sync."""
    CLAIMS = 2
    """It claims sync at a wrong speed."""
    TURNS = 3
    """Sync and speed are right, its sparks are not."""
    RIGHT = 4


@dataclass(frozen=True)
class Look:
    """What one try showed.

    `speed_ratio` is the speed it reports over the true one; `errors_deg` says for each coil how
    many degrees late its sparks come, in [-360, 360); `both_turns` that one which serves a single
    cylinder fires in both turns of the cycle; `silent` are coils that never fire; `reason` is the
    controller's last word.
    """

    stage: Stage
    speed_ratio: float | None
    errors_deg: Mapping[str, float]
    both_turns: bool
    reason: str
    silent: tuple[str, ...] = ()

    @property
    def worst_deg(self) -> float:
        """The largest error of any coil."""
        return max((abs(error) for error in self.errors_deg.values()), default=0.0)

    @property
    def common_deg(self) -> float | None:
        """The error that all coils share, None if they differ."""
        errors = list(self.errors_deg.values())
        middle = median(errors) if errors else 0.0
        same = all(abs(signed_deg(error - middle)) <= ANGLE_ERROR_DEG for error in errors)
        return middle if same else None

    @property
    def right_words(self) -> str:
        """What is right of a controller with which nothing is wrong, and what was not seen."""
        known = {"speed": self.speed_ratio is not None, "sparks": bool(self.errors_deg)}
        seen, unseen = ([name for name in known if known[name] is want] for want in (True, False))
        verb = "is" if seen == ["speed"] else "are"
        right = f", {' and '.join(seen)} {verb} right" if seen else ""
        return f"in sync{right}" + (f"; {' and '.join(unseen)} not seen" if unseen else "")

    def better_than(self, other: Look) -> bool:
        """Whether the controller came further, or nearer at the end."""
        if self.stage != other.stage:
            return self.stage > other.stage
        if self.stage is not Stage.TURNS or len(self.silent) != len(other.silent):
            return self.stage is Stage.TURNS and len(self.silent) < len(other.silent)
        return self.worst_deg < other.worst_deg - ANGLE_ERROR_DEG


@dataclass
class _Heard:
    reports: list[Reported] = field(default_factory=list)
    sparks: list[tuple[float, str]] = field(default_factory=list)


def look(rig: Rig, plan: Plan) -> Look | None:
    """Play a plan at a steady speed and see; None if it was stopped. Raises BenchError."""
    heard = _Heard()
    for event in rig.run(plan):
        if isinstance(event, Reported):
            heard.reports.append(event)
        elif isinstance(event, Pulsed):
            line = plan.signals.sparks.get(event.line)
            if line is not None and event.level == (line.edge == "rise"):
                heard.sparks.append((event.seconds, event.line))
        elif isinstance(event, Finished):
            if event.aborted:
                return None
            if not event.verified:
                raise BenchError(f"The bench failed in a try: {event.detail}")
    return _judged(plan, heard)


def _judged(plan: Plan, heard: _Heard) -> Look:
    motion = plan.signal.motion
    begin_s = float(motion[0].end_s + motion.end_s) / 2
    signals, truth = plan.signals, Truth(motion)
    end_s = float(motion.end_s)
    at_rest = heard.reports[0].fields.get(signals.sync) if heard.reports else None
    last = [report for report in heard.reports if begin_s <= report.seconds <= end_s]
    synced = tuple(value(word) for word in signals.synced)
    said = [report.fields.get(signals.sync) for report in last]
    losses = {report.fields.get(signals.losses) for report in last}
    claims = _share([word in synced for word in said]) >= MOSTLY and len(losses) <= 1
    speeds = [report.fields.get(signals.speed) for report in last]
    numbers = [speed for speed in speeds if isinstance(speed, float)]
    ratio = median(numbers) / truth.rpm(begin_s) if numbers else None
    sparks = [spark for spark in heard.sparks if spark[0] >= begin_s]
    errors, both = _spark_errors(plan, truth, sparks, last)
    fired = {name for _, name in sparks}
    silent = tuple(name for name in signals.sparks if name not in fired)
    reason = str(last[-1].fields.get(signals.reason, "")) if last else ""
    if not claims:
        partly = _share([word not in (at_rest, None) for word in said]) >= MOSTLY
        return Look(Stage.PARTLY if partly else Stage.NOTHING, ratio, errors, both, reason, silent)
    stage = Stage.RIGHT
    if any(abs(error) > ANGLE_ERROR_DEG for error in errors.values()) or both or silent:
        stage = Stage.TURNS
    if ratio is not None and abs(ratio - 1) > SPEED_ERROR:
        stage = Stage.CLAIMS
    return Look(stage, ratio, errors, both, reason, silent)


def _spark_errors(
    plan: Plan, truth: Truth, sparks: list[tuple[float, str]], last: list[Reported]
) -> tuple[dict[str, float], bool]:
    """The median error of each coil in degrees late, and whether one fires in both turns."""
    advance = plan.signals.advance_deg
    for report in last:
        told = report.fields.get(plan.signals.advance)
        advance = told if isinstance(told, float) else advance
    if advance is None:
        return {}, False
    centres = {
        name: [float(deg) for number in line.cylinders for deg in plan.wheel.dead_centres(number)]
        for name, line in plan.signals.sparks.items()
    }
    found: dict[str, list[float]] = {}
    both = False
    for seconds, name in sparks:
        angle = truth.angle_deg(seconds) + advance
        errors = [signed_deg(angle - deg) for deg in centres[name]]
        if errors:
            found.setdefault(name, []).append(min(errors, key=abs))
    for name, errors in found.items():
        apart = {round(abs(signed_deg(error - errors[0])) / 360) for error in errors}
        both |= len(apart) > 1 and len(centres[name]) == 1
    return {name: _middle(errors) for name, errors in found.items()}, both


def _middle(errors: list[float]) -> float:
    """The median of angles that may straddle plus and minus 360."""
    first = errors[0]
    return signed_deg(first + median(signed_deg(error - first) for error in errors))


def _share(flags: list[bool]) -> float:
    return sum(flags) / len(flags) if flags else 0.0

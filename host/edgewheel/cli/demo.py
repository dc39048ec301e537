"""`edgewheel demo`: an invented case on the simulated bench, from the complaint to the cause."""

from __future__ import annotations

import argparse
from math import log, log1p
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.sweep import point_line
from edgewheel.cli.talk import Talk, stoppable
from edgewheel.motion.segment import DEG_PER_S_PER_RPM

if TYPE_CHECKING:
    from edgewheel.bench.plan import Plan
    from edgewheel.search.compare import Trial

BENCH = Path(__file__).resolve().parents[1] / "examples" / "frost-fan.yaml"

WIDTH = 96

STORY = (
    "An invented case. A fruit-growing cooperative keeps frost fans, each driven by a "
    "four-cylinder engine. Since fan 3 got a new crank sensor and a longer loom to it, its "
    "controller miscounts near the top of its speed range. The customer is on the telephone, the "
    "engine is elsewhere. On the simulated bench (nothing here has run on real hardware yet):"
)

REMEDY = (
    "What to do: raise the crank input's blanking to 30 % of a tooth period (tried above: it "
    "holds), or shorten the loom, or give the sensor line a stronger pull-up so that its edges are "
    "steep."
)

CAUTION = (
    "Bench only: coils and injectors disconnected, supply current-limited, before you try this on "
    "a real controller."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--runs", type=Path, default=Path("runs"), help="where run folders go")


def run(args: argparse.Namespace) -> int:
    from edgewheel.bench.events import Progress
    from edgewheel.bench.loader import load_plan
    from edgewheel.search.compare import Change, Comparison, Trial

    plan = load_plan(BENCH)
    changes = (
        Change("with the old sensor, which does not bounce", "faults.sensor.off", "true"),
        Change(
            "with the old, short loom, whose edges are steep",
            "controller.settings.crank.rc.rise_time_constant_us",
            "0.5",
        ),
        Change(
            "with sensor and loom as they are, blanking raised to 30 %",
            "controller.settings.crank.blanking_percent",
            "30",
        ),
    )
    comparison = Comparison(plan, BENCH, changes, args.runs)
    talk = Talk()
    print(fill(STORY, WIDTH) + "\n")
    with stoppable(comparison.stop):
        for item in comparison.items():
            if isinstance(item, Progress):
                talk.progress(item.seconds / item.of_seconds, f"{item.rpm:6.0f} rpm")
            elif isinstance(item, Trial):
                talk.done()
                print(_told(item), flush=True)
            elif not comparison.trials and item.lost is not None:
                talk.say(point_line(item))
    if comparison.stopped:
        return ExitCode.INTERRUPTED
    print(_conclusion(plan, comparison.trials))
    return ExitCode.PASSED


def _told(trial: Trial) -> str:
    label = trial.change.meaning if trial.change else "as the customer has it"
    text = f"* {label[:1].upper()}{label[1:]}: {trial.result.sentence}"
    return fill(text, WIDTH, subsequent_indent="  ") + f"\n  Record: {trial.folder}"


def _conclusion(plan: Plan, trials: list[Trial]) -> str:
    """Where and why, from what the trials showed and from the arithmetic behind it."""
    case, old_sensor, old_loom, more_blanking = (trial.result for trial in trials)
    if case.passed:
        return "\nThe fault did not show, so nothing can be said of its cause."
    paragraphs = [f"Where: above {float(case.highest_rpm or 0):g} rpm."]
    if old_sensor.passed and old_loom.passed:
        paragraphs.append(_why(plan))
    else:
        paragraphs.append("Why: neither the sensor nor the loom alone explains it.")
    if more_blanking.passed:
        paragraphs.append(REMEDY)
    return "\n" + "\n\n".join(fill(text, WIDTH) for text in [*paragraphs, CAUTION])


def _why(plan: Plan) -> str:
    n = _Numbers(plan)
    return (
        f"Why: it takes both parts. The new sensor bounces {n.delay_us:g} us after each rising "
        f"edge, for {n.width_us:g} us. The controller's filter of {n.filter_us:g} us would swallow "
        "that, but on the long loom the line rises so slowly that the bounce lasts "
        f"{n.stretched_us:.1f} us at the controller's pin and passes. It is then counted as a "
        f"tooth unless blanking hides it. Blanking is {n.blanking:g} % of a tooth period, and the "
        f"bounce ends {n.hidden_us:g} us after the edge: by arithmetic it is exposed from "
        f"{n.exposed_rpm:.0f} rpm on."
    )


class _Numbers:
    """What the case's numbers come to at the controller's pin."""

    def __init__(self, plan: Plan) -> None:
        from edgewheel.bench.plan import SimulatedController
        from edgewheel.bench.position import tooth_pitch_deg
        from edgewheel.fault.bounce import Bounce

        bounce = plan.signal.faults["sensor"]
        controller = plan.controller
        assert isinstance(bounce, Bounce) and isinstance(controller, SimulatedController)
        crank = controller.settings.crank
        assert crank.rc is not None
        self.delay_us = float(bounce.delay_us)
        self.width_us = float(bounce.width_us)
        self.filter_us = crank.filter_us
        self.blanking = crank.blanking_percent
        # The capacitor reaches a threshold after RC ln(1 / (1 - share of the way)).
        rise_us = -crank.rc.rise_time_constant_us * log1p(-crank.rc.upper_threshold_percent / 100)
        fall_us = -crank.rc.fall_time_constant_us * log(crank.rc.lower_threshold_percent / 100)
        self.stretched_us = self.width_us + rise_us - fall_us
        pitch_deg = float(tooth_pitch_deg(plan.wheel))
        self.hidden_us = self.delay_us + self.width_us
        deg_per_s = self.blanking / 100 * pitch_deg / self.hidden_us * 1e6
        self.exposed_rpm = deg_per_s / DEG_PER_S_PER_RPM

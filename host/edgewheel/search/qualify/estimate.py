"""How long a suite takes: on the simulated bench, and on a real one."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, log2

from edgewheel.bench.plan import Plan
from edgewheel.bench.truth import CYCLE_DEG
from edgewheel.search.binomial import agreeing
from edgewheel.search.qualify.bounds import CONFIDENCE
from edgewheel.search.qualify.plan import QualifyPlan, SampleTest, SearchTest, Test

REAL_GAP_S = 1.5
"""Between two trials of a real board: the outputs go to their idle levels after a second, the link
begins anew, and the controller sees an engine at rest."""

SIM_TRIAL_S, SIM_S, SIM_TRANSITION_S = 0.015, 0.02, 6e-6
"""What a trial, a second of the engine and a transition of the pins cost the simulated bench:
measured on a 2-core machine, before the first trials of a suite tell better."""


@dataclass(frozen=True)
class Cost:
    """Trials, seconds that the engine turns in them, and transitions of the board's outputs."""

    trials: float
    engine_s: float
    transitions: float

    @property
    def sim_s(self) -> float:
        """Of a simulated bench."""
        turning = SIM_S * self.engine_s + SIM_TRANSITION_S * self.transitions
        return SIM_TRIAL_S * self.trials + turning

    @property
    def real_s(self) -> float:
        """Of a board and a controller in real time."""
        return self.engine_s + REAL_GAP_S * self.trials

    def __add__(self, other: Cost) -> Cost:
        return Cost(
            self.trials + other.trials,
            self.engine_s + other.engine_s,
            self.transitions + other.transitions,
        )

    def __mul__(self, times: float) -> Cost:
        return Cost(self.trials * times, self.engine_s * times, self.transitions * times)


NOTHING = Cost(0, 0, 0)


def cost(plan: QualifyPlan, test: Test) -> Cost:
    """Of one test: that of a typical trial, as often as is to be expected."""
    if isinstance(test, SearchTest):
        text = test.axis.text(test.axis.share((test.axis.low + test.axis.high) / 2))
        return _of_trial(test.kind.plan(plan.bench, text, 0)) * _expected(test)
    if test.kind.needs(plan.bench):
        return NOTHING
    return _of_trial(test.kind.plan(plan.bench, 0, 0, ())) * test.trials


def _expected(test: SearchTest) -> int:
    """Trials until a controller that behaves the same in all of them is bracketed and proved."""
    wanted, error = test.wanted, (1 - CONFIDENCE) / 2
    proof = agreeing(wanted.share, error) + agreeing(1 - wanted.share, error)
    return 2 + ceil(log2(1 / wanted.within)) + proof


def _of_trial(plan: Plan) -> Cost:
    motion = plan.signal.motion
    turned = sum(abs(float(motion[k].segment.mean_deg)) for k in range(len(motion)))
    return Cost(1, float(motion.end_s), turned / CYCLE_DEG * plan.transitions_per_cycle)


def needs(plan: QualifyPlan, test: Test) -> str:
    """Why a test cannot be played on this bench; empty if it can."""
    return test.kind.needs(plan.bench) if isinstance(test, SampleTest) else ""

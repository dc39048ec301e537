"""What is wrong with the timing, each cause apart from the others.

At a known advance the error of an event (measured minus commanded, positive early) is

    error = reference - 6 rpm delay - share width

with the reference-angle error in degrees, the fixed delay in seconds, `width` the degrees from the
edge of a tooth that the controller is meant to count to its other edge, and `share` 1 if it counts
that other edge, 0 if not. The error at no speed is the reference, its slope over speed the delay,
its slope over tooth width tells the edge: least squares over the medians of steady runs. Whole
turns come off first, from lines with one event a cycle. What the runs do not tell is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from edgewheel.bench.timing.measure import fold
from edgewheel.motion.segment import DEG_PER_S_PER_RPM

TURN_DEG = 360.0
LEAST_SPEED_RATIO = 1.5
"""Speeds nearer to one another than this do not separate an angle from a delay."""

LEAST_WIDTH_DEG = 0.2
SNAP = 0.25
"""A share of the tooth width within this of 0 or 1 is the one or the other."""

BEND_DEG = 0.1
"""Errors further than this from any straight line over speed are no reference and no delay."""

COVERAGE = 2.0
"""Uncertainties are two standard deviations, about 95 %."""

_NOTHING = (
    "Nothing can be told: no event at a steady speed and a known advance. Lock the controller's "
    "timing, write 'signals: {advance_deg: ...}', and hold two speeds."
)
_ONE_SPEED = (
    "Angle and delay cannot be told apart at one speed: hold at least two, the higher at least "
    f"{LEAST_SPEED_RATIO:g} times the lower."
)
_WIDTH_WITH_SPEED = (
    "Speed and tooth width changed together, so they cannot be told apart: play the same speeds on "
    "both wheels."
)

Floats = npt.NDArray[np.float64]
Share = Literal["right", "wrong", "unclear", "unknown"]
Turn = Literal["right", "wrong", "both", "unclear", "unknown"]


@dataclass(frozen=True)
class Sample:
    """The median error of one line at one steady speed.

    `width_deg` is signed, as :meth:`EdgeShift.at` gives it; `sigma_deg` the standard error of the
    median; `whole_cycle` is true if the line has one event a cycle, so that a turn shows in it, and
    `both_turns` if it should have but comes in each turn. `every_turn` says that it may,
    so that it has no turn to be out by.
    """

    line: str
    rpm: float
    error_deg: float
    sigma_deg: float
    width_deg: float
    whole_cycle: bool
    both_turns: bool = False
    every_turn: bool = False


@dataclass(frozen=True)
class Estimate:
    """A value and its uncertainty (95 %)."""

    value: float
    uncertainty: float


@dataclass(frozen=True)
class Separation:
    """What is known of each cause; `needs` says in sentences what is not, and what would tell it.

    `reference_deg` positive: events are too early. `turn` is "wrong" if they are a turn out, "both"
    if they come in each turn where one is right. `worst_deg` is the largest distance of a sample
    from the line that these values draw.
    """

    reference_deg: Estimate | None = None
    delay_us: Estimate | None = None
    edge: Share = "unknown"
    edge_share: Estimate | None = None
    turn: Turn = "unknown"
    worst_deg: float = 0.0
    needs: tuple[str, ...] = ()


def separate(samples: Sequence[Sample], resolution_us: float = 0.0) -> Separation:
    """Tell the causes apart as far as the samples can; `resolution_us` is the capture's."""
    if not samples:
        return Separation(needs=(_NOTHING,))
    turn, errors, needs = _turn(samples)
    table = _Table(samples)
    edge, share, more = _edge(table, errors)
    needs += more
    if edge == "wrong":
        errors = errors + table.widths
    fit = _fit(table.speed_columns, errors, table.sigma)
    assert fit is not None, "a constant and two speeds are independent"
    if not table.two_speeds:
        return Separation(None, None, edge, share, turn, fit.worst, (*needs, _ONE_SPEED))
    if trouble := _not_fixed(fit):
        return Separation(None, None, edge, share, turn, fit.worst, (*needs, trouble))
    delay = fit.estimate(1)
    delay = Estimate(delay.value, max(delay.uncertainty, resolution_us))
    return Separation(fit.estimate(0), delay, edge, share, turn, fit.worst, tuple(needs))


def without_turn(error_deg: float, turn: Turn) -> float:
    """An error less the turn that all are out by: beside that, nothing smaller could be seen."""
    if turn != "wrong" or abs(error_deg) <= TURN_DEG / 2:
        return error_deg
    return error_deg - TURN_DEG if error_deg > 0 else error_deg + TURN_DEG


class _Table:
    """The samples as columns (n,), and what they can tell."""

    def __init__(self, samples: Sequence[Sample]) -> None:
        rpm = np.array([sample.rpm for sample in samples])
        self.widths = np.array([sample.width_deg for sample in samples])
        self.sigma = np.array([max(sample.sigma_deg, 1e-6) for sample in samples])
        self.two_speeds = bool(rpm.max() >= LEAST_SPEED_RATIO * rpm.min())
        self.two_widths = bool(np.ptp(self.widths) >= LEAST_WIDTH_DEG)
        self.speed_columns = [np.ones(len(rpm))]
        if self.two_speeds:
            self.speed_columns.append(-DEG_PER_S_PER_RPM * rpm * 1e-6)


def _edge(table: _Table, errors: Floats) -> tuple[Share, Estimate | None, list[str]]:
    """Which edge is counted, how much of the width is in the errors, and what is not known."""
    if not table.two_widths:
        return "unknown", None, [_width_need(table.widths)]
    fit = _fit([*table.speed_columns, -table.widths], errors, table.sigma)
    if fit is None:
        return "unknown", None, [_WIDTH_WITH_SPEED]
    share = fit.estimate(-1)
    if abs(share.value) <= SNAP:
        return "right", share, []
    if abs(share.value - 1) <= SNAP:
        return "wrong", share, []
    need = (
        f"The error follows the tooth width by {share.value:.2f} +- {share.uncertainty:.2f}; 0 "
        "would be the right edge, 1 the wrong one. Something else differs between the runs."
    )
    return "unclear", share, [need]


def _turn(samples: Sequence[Sample]) -> tuple[Turn, Floats, list[str]]:
    """Whether all is a turn out, the errors without it, and what is not known of it."""
    errors = np.array([sample.error_deg for sample in samples])
    whole = np.array([sample.whole_cycle for sample in samples])
    if any(sample.both_turns for sample in samples):
        return "both", errors, []
    if all(sample.every_turn for sample in samples):
        return "unknown", errors, []
    if not whole.any():
        need = (
            "Whether it is 360 degrees out cannot be seen: every line that was captured has an "
            "event in each turn. Capture one sequential coil or injector."
        )
        return "unknown", errors, [need]
    out = np.abs(errors) > TURN_DEG / 2
    errors = np.where(whole & out, fold(errors + TURN_DEG, 2 * TURN_DEG), errors)
    if out[whole].all():
        return "wrong", errors, []
    if not out[whole].any():
        return "right", errors, []
    lines = sorted({s.line for s, o in zip(samples, whole & out, strict=True) if o})
    need = f"Some lines are a turn out and others are not ({', '.join(lines)}): check the wiring."
    return "unclear", errors, [need]


def _width_need(widths: Floats) -> str:
    width = float(np.median(widths))
    if not width:
        return "The crank signal has one usable edge only, so no wrong edge can be counted."
    return (
        f"Whether the wrong edge is counted cannot be told from an angle of {abs(width):.2f} "
        "degrees, the tooth width: add a run on the same wheel with another tooth width."
    )


@dataclass(frozen=True, eq=False)
class _Fit:
    values: Floats
    covariance: Floats
    worst: float
    margin_deg: float

    def estimate(self, index: int) -> Estimate:
        spread = COVERAGE * float(np.sqrt(self.covariance[index, index]))
        return Estimate(float(self.values[index]), spread)


def _fit(columns: list[Floats], errors: Floats, sigma: Floats) -> _Fit | None:
    """Weighted least squares; None if the columns are not independent.

    The uncertainty is the larger of what the scatter within samples and the distances of the
    samples from the fit make it.
    """
    matrix = np.stack(columns, axis=1)
    scale = np.abs(matrix).max(axis=0)
    normal = matrix / scale
    if np.linalg.matrix_rank(normal, tol=1e-3) < len(columns):
        return None
    # Lines differ among themselves by more than their scatter; equal weights let none rule.
    values, *_ = np.linalg.lstsq(normal, errors, rcond=None)
    left = errors - normal @ values
    free = len(errors) - len(columns)
    variance = max(float(left @ left) / free if free else 0.0, float(np.mean(sigma**2)))
    covariance = variance * np.linalg.inv(normal.T @ normal) / np.outer(scale, scale)
    worst = float(np.abs(left).max())
    return _Fit(values / scale, covariance, worst, BEND_DEG + 4 * float(sigma.max()))


def _not_fixed(fit: _Fit) -> str:
    """Why the errors are not those of an angle and a delay; empty if they may be."""
    remedy = (
        "The advance was not what the tool was told, so angle and delay are not given. Lock the "
        "timing in the controller and say at what ('signals: {advance_deg: ...}'), or log the "
        "advance it commands ('signals: {advance: FIELD}')."
    )
    if fit.worst > fit.margin_deg:
        bend = f"The errors lie up to {fit.worst:.2f} degrees off any straight line over speed."
        return f"{bend} {remedy}"
    delay = fit.estimate(1)
    if delay.value < -max(delay.uncertainty, 2.0):
        return (
            f"Events come earlier with speed, as by a delay of {delay.value:.0f} us, which nothing "
            f"can have. {remedy}"
        )
    return ""

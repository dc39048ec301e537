"""Weak VR signal: teeth whose voltage does not reach the input's threshold are not seen."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Annotated

import numpy as np

from edgewheel.edges.phase import Floats
from edgewheel.edges.table import NO_TOOTH
from edgewheel.fault.fields import Bounds, TrackName
from edgewheel.fault.ontrack import EdgeByEdge, Edit, View, shaft_angles
from edgewheel.fault.repetition import EACH, Repetition
from edgewheel.fault.window import ALWAYS, Window

LARGEST_MV = 1_000_000


@dataclass(frozen=True)
class WeakSignal(EdgeByEdge):
    """A VR sensor's peak voltage is proportional to speed; teeth below the threshold are not seen.

    At angle a of the track's shaft and speed n (with its ripple: compression slows the teeth and
    weakens them) a tooth gives
    `peak_mv_at_1000_rpm` x n / 1000 x (1 + `runout_percent` / 100 x cos(a - `strongest_deg`));
    both edges of a tooth that gives less than `threshold_mv` do not come. Proportional to speed by
    Faraday's law; runout stands for an air gap that changes once a turn. It reaches one edge
    either way.

    On a track that is played as a voltage (`output: vr`) every edge comes and the half-waves to
    both sides of a tooth's centre are so weak, each where the fault is there when it begins;
    whether that is enough is for the controller to find, and `threshold_mv` says nothing.
    """

    track: Annotated[str, TrackName()]
    peak_mv_at_1000_rpm: Annotated[Fraction, Bounds(above=0, maximum=LARGEST_MV)]
    threshold_mv: Annotated[Fraction, Bounds(above=0, maximum=LARGEST_MV)]
    runout_percent: Annotated[Fraction, Bounds(0, 99)] = Fraction(0)
    strongest_deg: Annotated[Fraction, Bounds(0, 360)] = Fraction(0)
    window: Window = ALWAYS
    repetition: Repetition = EACH

    def edit(self, view: View) -> Edit:
        """Each tooth judged at its first edge."""
        edges = view.edges
        first = np.where(view.ends_tooth, view.ticks(-1), edges.ticks)
        rpm = view.place.crank.rpm(first, view.angles_deg)
        shaft_deg = shaft_angles(view.scene.levels, view.place.track, edges.passage)
        peak_mv = float(self.peak_mv_at_1000_rpm) * rpm / 1000 * self.run_out(shaft_deg)
        weak = (peak_mv < float(self.threshold_mv)) & (edges.passage != NO_TOOTH)
        return Edit(edges.ticks, ~(view.tooth_chosen & weak))

    def run_out(self, shaft_deg: Floats) -> Floats:
        """How strong teeth at angles (n,) of their shaft are, 1 on the average."""
        turned = np.radians(shaft_deg - float(self.strongest_deg))
        shares: Floats = 1 + float(self.runout_percent) / 100 * np.cos(turned)
        return shares


@dataclass(frozen=True)
class WeakVoltage:
    """A weak signal of a sensor that is played as a voltage, whose own peak is `mv_per_rpm`.

    `window` and `repetition` are those of the weak signal until somebody switches it.
    """

    weak: WeakSignal
    mv_per_rpm: Fraction
    window: Window
    repetition: Repetition

    @classmethod
    def of(cls, weak: WeakSignal, mv_per_rpm: Fraction) -> WeakVoltage:
        """The weak signal of a track that is played as a voltage."""
        return cls(weak, mv_per_rpm, weak.window, weak.repetition)

    @property
    def signal(self) -> WeakSignal:
        """The weak signal that says the same in a bench file."""
        return replace(self.weak, window=self.window, repetition=self.repetition)

    @property
    def track(self) -> str:
        """The track that has it."""
        return self.weak.track

    @property
    def strongest(self) -> Fraction:
        """The largest strength, as a share of the sensor's own."""
        weak = self.weak
        return weak.peak_mv_at_1000_rpm / 1000 / self.mv_per_rpm * (1 + weak.runout_percent / 100)

    def shares(self, shaft_deg: Floats) -> Floats:
        """The strengths (n,) of teeth at angles (n,) of their shaft, of the sensor's own."""
        share = float(self.weak.peak_mv_at_1000_rpm / 1000 / self.mv_per_rpm)
        shares: Floats = share * self.weak.run_out(shaft_deg)
        return shares

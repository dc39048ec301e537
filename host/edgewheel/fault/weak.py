"""Weak VR signal: teeth whose voltage does not reach the input's threshold are not seen."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

import numpy as np

from edgewheel.edges.table import NO_TOOTH
from edgewheel.fault.fields import Bounds, TrackName
from edgewheel.fault.ontrack import EdgeByEdge, Edit, View
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
        edges, scene = view.edges, view.scene
        first = np.where(view.ends_tooth, view.ticks(-1), edges.ticks)
        rpm = view.place.crank.rpm(first, view.angles_deg)
        levels, track = scene.levels, view.place.track
        shaft_deg = levels.period * levels.teeth[track] / levels.passages[track]
        turned = 2 * np.pi * view.angles_deg / shaft_deg - np.radians(float(self.strongest_deg))
        share = 1 + float(self.runout_percent) / 100 * np.cos(turned)
        peak_mv = float(self.peak_mv_at_1000_rpm) * rpm / 1000 * share
        weak = (peak_mv < float(self.threshold_mv)) & (edges.passage != NO_TOOTH)
        return Edit(edges.ticks, ~(view.tooth_chosen & weak))

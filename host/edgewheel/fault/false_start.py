"""False start: the starter kicks, a few teeth pass, and the engine stands again."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import count, islice
from typing import Annotated

from edgewheel.fault.fields import Bounds, TrackName
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import hold
from edgewheel.wheel.model import TURN, Wheel

MOST_TEETH = 10_000


@dataclass(frozen=True)
class FalseStart:
    """Before the motion, `teeth` teeth of the track pass at `rpm`; then the crank stands `pause_s`.

    It stops half-way between the last of them and the next, and the motion goes on from there. It
    is an edit of the motion: everything after it, the timing of cams too, is later by as much, and
    no edge is lost.
    """

    track: Annotated[str, TrackName()]
    teeth: Annotated[int, Bounds(1, MOST_TEETH)]
    rpm: Annotated[Fraction, Bounds(above=0, maximum=2000)] = Fraction(150)
    pause_s: Annotated[Fraction, Bounds(above=0, maximum=3600)] = Fraction(1)

    def turn(self, wheel: Wheel, motion: Motion) -> Motion:
        """The motion with the kick and the pause before it."""
        kick_deg = self._stop_deg(wheel, motion.start_deg) - motion.start_deg
        segments = [motion[index].segment for index in range(len(motion))]
        kick = hold(self.rpm, turns=kick_deg / TURN)
        cams = {
            name: timing.later(kick.seconds + self.pause_s) for name, timing in motion.cams.items()
        }
        pause = hold(Fraction(0), seconds=self.pause_s)
        return Motion([kick, pause, *segments], motion.start_deg, cams)

    def _stop_deg(self, wheel: Wheel, start_deg: Fraction) -> Fraction:
        """Where the crank stops."""
        teeth = wheel.track(self.track).crank_teeth(wheel.period)
        passing = (
            (tooth.begin + cycle * wheel.period, tooth.end + cycle * wheel.period)
            for cycle in count()
            for tooth in teeth
        )
        after_start = (tooth for tooth in passing if tooth[0] >= start_deg)
        *_, last, following = islice(after_start, self.teeth + 1)
        return (last[1] + following[0]) / 2

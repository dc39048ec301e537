"""What a wheel can tell a controller, in one answer."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from edgewheel.wheel.certainty import DECODERS, Certainty, certainty, events_of, symmetry
from edgewheel.wheel.landmarks import Reference, main_track, reference
from edgewheel.wheel.limits import Shortest, shortest_stretches
from edgewheel.wheel.model import TURN, Wheel
from edgewheel.wheel.pins import edge_periods, pin_edges
from edgewheel.wheel.ratios import usual_period
from edgewheel.wheel.safe import SafeEdge, safe_edge

TOLERANCE = Fraction(1, 4)
"""How far two period ratios must differ to be told apart, unless the caller says otherwise."""

SpeedFrom = Literal["every period", "most periods", "whole turns"]


@dataclass(frozen=True)
class WheelCheck:
    """All that a pattern tells at steady speed.

    `gives_position`, `gives_phase` and the rotations that look alike, `alike_deg`, hold for the
    decoder that sees most, given time and no tolerance; `certainties` say what each decoder makes
    of it and how soon. `speed_from` says which periods of the
    busiest track, taken at its safe edge, give the speed before the position is known.
    """

    wheel: Wheel
    tolerance: Fraction
    speed_from: SpeedFrom
    gives_position: bool
    gives_phase: bool
    alike_deg: tuple[Fraction, ...]
    certainties: tuple[Certainty, ...]
    safe_edges: tuple[SafeEdge, ...]
    shortest: tuple[Shortest, ...]
    reference: Reference


def check(wheel: Wheel, tolerance: Fraction = TOLERANCE) -> WheelCheck:
    """Everything there is to say about a wheel; `tolerance` as in :func:`certainty`."""
    smallest = max(symmetry(events_of(wheel, one), wheel.period) for one in DECODERS)
    return WheelCheck(
        wheel=wheel,
        tolerance=tolerance,
        speed_from=_speed_from(wheel),
        gives_position=smallest % TURN == 0,
        gives_phase=smallest == wheel.period,
        alike_deg=tuple(smallest * n for n in range(1, int(wheel.period / smallest))),
        certainties=tuple(certainty(wheel, decoder, tolerance) for decoder in DECODERS),
        safe_edges=tuple(safe_edge(track, wheel.period) for track in wheel.tracks),
        shortest=tuple(
            one for track in wheel.tracks for one in shortest_stretches(track, wheel.period)
        ),
        reference=reference(wheel),
    )


def _speed_from(wheel: Wheel) -> SpeedFrom:
    track = main_track(wheel)
    edge = safe_edge(track, wheel.period).edge or "rise"
    periods = edge_periods(pin_edges(track, wheel.period, edge), wheel.period)
    usual = periods.count(usual_period(periods))
    if usual == len(periods):
        return "every period"
    return "most periods" if 2 * usual > len(periods) else "whole turns"

"""The shortest times a wheel asks an input to follow, and the speed at which it no longer can."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from edgewheel.wheel.model import Track
from edgewheel.wheel.pins import edge_periods, pin_edges

DEG_PER_S_PER_RPM = 6
US_PER_S = 1_000_000


@dataclass(frozen=True)
class Shortest:
    """The shortest stretch between two edges of a track at the pin.

    `kind` is "tooth" or "space" (metal or air at the sensor), "half-wave" of a VR sensor, or
    "pitch" of a direction sensor, of which `pulse_us` is taken up by its longer pulse.
    """

    track: str
    kind: str
    degrees: Fraction
    pulse_us: Fraction = Fraction(0)

    def rpm_limit(self, shortest_us: Fraction) -> Fraction:
        """Above this speed it is shorter than `shortest_us` at the pin."""
        seconds = (shortest_us + self.pulse_us) / US_PER_S
        return self.degrees / seconds / DEG_PER_S_PER_RPM

    def us_at(self, rpm: Fraction) -> Fraction:
        """How long it lasts at a steady speed; negative if the pulse does not end in time."""
        return self.degrees / (rpm * DEG_PER_S_PER_RPM) * US_PER_S - self.pulse_us


def shortest_stretches(track: Track, period: int) -> tuple[Shortest, ...]:
    """The shortest tooth and space, or what stands for them at the pin, in crank degrees."""
    edges = pin_edges(track, period)
    periods = edge_periods(edges, period)
    if direction := track.sensor.direction:
        longer = max(direction.forward_us, direction.reverse_us)
        return (Shortest(track.name, "pitch", min(periods), longer),)
    if track.sensor.kind == "vr":
        return (Shortest(track.name, "half-wave", min(periods)),)
    before = list(zip(edges, periods, strict=True))
    return (
        Shortest(track.name, "tooth", min(span for edge, span in before if not edge.leading)),
        Shortest(track.name, "space", min(span for edge, span in before if edge.leading)),
    )

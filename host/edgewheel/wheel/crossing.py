"""How far a track's timing moves when its Hall sensor becomes a VR sensor, or the other way."""

from __future__ import annotations

from fractions import Fraction

from edgewheel.wheel.model import SensorKind, Track
from edgewheel.wheel.teeth import readable


def centre_after_deg(track: Track) -> tuple[Fraction, Fraction]:
    """Crank degrees from where metal comes to the tooth's centre, of the narrowest and the widest
    tooth. From the centre to where metal goes it is as far.
    """
    scale = track.crank_degrees_per_turn / 360
    halves = [tooth.width / 2 * scale for tooth in track.teeth]
    return min(halves), max(halves)


def crossing_moved(track: Track, kind: SensorKind) -> str | None:
    """What it means that a track is read by a sensor of this kind; None if that is its own."""
    if kind == track.sensor.kind or not track.teeth:
        return None
    least, most = centre_after_deg(track)
    deg = readable(least) if least == most else f"{readable(least)} to {readable(most)}"
    if kind == "vr":
        return (
            f"Track '{track.name}' is read by a VR sensor here, by a Hall sensor in the wheel "
            f"file: its timing crossing is the tooth's centre, {deg} crank degrees after the edge "
            "where metal comes and as much before the one where it goes. Move the controller's "
            "reference angle by that much."
        )
    return (
        f"Track '{track.name}' is read by a Hall sensor here, by a VR sensor in the wheel file: "
        f"the edge where metal comes is {deg} crank degrees before the tooth's centre, where the "
        "timing crossing was, the one where it goes as much after it. Move the controller's "
        "reference angle by that much."
    )

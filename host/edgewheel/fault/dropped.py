"""Dropped tooth: a tooth passes, and the sensor says nothing of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from edgewheel.fault.fields import TrackName
from edgewheel.fault.ontrack import EdgeByEdge, Edit, View
from edgewheel.fault.repetition import EACH, Repetition
from edgewheel.fault.window import ALWAYS, Window


@dataclass(frozen=True)
class DroppedTooth(EdgeByEdge):
    """Both edges of a chosen tooth do not come.

    The window counts at the first of them. A tooth of which only one edge passes, since the motion
    starts or ends on it, stays as it is. A tooth that is not on the wheel at all is
    `missing_tooth`, which also moves what a VR sensor makes of the space around it. It reaches one
    edge either way.
    """

    track: Annotated[str, TrackName()]
    window: Window = ALWAYS
    repetition: Repetition = EACH

    def edit(self, view: View) -> Edit:
        """Each edge of a chosen tooth removed."""
        return Edit(view.edges.ticks, ~view.tooth_chosen)

"""Dropped tooth: a tooth passes, and the sensor says nothing of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated

from edgewheel.edges.table import EdgeChunk, EdgeHeader
from edgewheel.fault.fields import TrackName
from edgewheel.fault.model import Changes, Scene, Table
from edgewheel.fault.ontrack import Edit, View, apply_on_track
from edgewheel.fault.repetition import EACH, Repetition
from edgewheel.fault.window import ALWAYS, Window


@dataclass(frozen=True)
class DroppedTooth:
    """Both edges of a chosen tooth do not come.

    The window counts at the first of them. A tooth of which only one edge passes, since the motion
    starts or ends on it, stays as it is. A tooth that is not on the wheel at all is
    `missing_tooth`, which also moves what a VR sensor makes of the space around it. It reaches one
    edge either way.
    """

    track: Annotated[str, TrackName()]
    window: Window = ALWAYS
    repetition: Repetition = EACH

    def apply(
        self, scene: Scene, header: EdgeHeader, chunks: Iterable[EdgeChunk], changes: Changes
    ) -> Table:
        """The table without the teeth."""
        return apply_on_track(self, scene, header, chunks, changes)

    def edit(self, view: View) -> Edit:
        """Each edge of a chosen tooth removed."""
        return Edit(view.edges.ticks, ~view.tooth_chosen)

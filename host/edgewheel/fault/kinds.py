"""Every kind of fault by the word that a bench file calls it."""

from __future__ import annotations

from collections.abc import Mapping

from edgewheel.fault.bounce import Bounce
from edgewheel.fault.dropped import DroppedTooth
from edgewheel.fault.extra import ExtraPulse
from edgewheel.fault.false_start import FalseStart
from edgewheel.fault.flips import Flips
from edgewheel.fault.jitter import Jitter
from edgewheel.fault.late import LateTooth
from edgewheel.fault.lines import LostTrack, Polarity, SwappedTracks
from edgewheel.fault.loose import LooseConnection
from edgewheel.fault.metal import (
    BentTooth,
    EccentricWheel,
    LeadsReversed,
    MissingTooth,
    ShiftedTrack,
    WornTeeth,
)
from edgewheel.fault.model import Fault
from edgewheel.fault.noise import Noise
from edgewheel.fault.wander import WanderingTrack
from edgewheel.fault.weak import WeakSignal

KINDS: Mapping[str, type[Fault]] = {
    "dropped_tooth": DroppedTooth,
    "late_tooth": LateTooth,
    "extra_pulse": ExtraPulse,
    "bounce": Bounce,
    "noise": Noise,
    "jitter": Jitter,
    "weak_signal": WeakSignal,
    "loose": LooseConnection,
    "lost": LostTrack,
    "polarity": Polarity,
    "swapped": SwappedTracks,
    "wandering": WanderingTrack,
    "missing_tooth": MissingTooth,
    "bent_tooth": BentTooth,
    "worn_teeth": WornTeeth,
    "eccentric": EccentricWheel,
    "shifted": ShiftedTrack,
    "leads_reversed": LeadsReversed,
    "false_start": FalseStart,
    "flips": Flips,
}

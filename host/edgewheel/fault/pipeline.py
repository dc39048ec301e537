"""From a plan of the signal to the chunks that are recorded and the chunks that are sent."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.levels import LevelTable
from edgewheel.edges.pins import PinMaker
from edgewheel.edges.stage import OutputStage
from edgewheel.edges.table import EdgeChunk, EdgeHeader, PinChunk
from edgewheel.fault.model import Changes, EdgeFault
from edgewheel.motion.motion import Motion


@dataclass(frozen=True)
class SignalPlan:
    """All that decides what the controller's pins see."""

    levels: LevelTable
    motion: Motion
    faults: Mapping[str, EdgeFault] = field(default_factory=dict)


class Pipeline:
    """One signal plan on one clock. Every reading starts from the beginning."""

    def __init__(self, plan: SignalPlan, tick_hz: int) -> None:
        self._plan = plan
        self._compiler = EdgeCompiler(plan.levels, plan.motion, tick_hz)
        self.changes = {name: Changes() for name in plan.faults}

    @property
    def header(self) -> EdgeHeader:
        return self._compiler.header()

    def edges(
        self, begin_s: Fraction = Fraction(0), end_s: Fraction | None = None
    ) -> Iterator[EdgeChunk]:
        """The edge table; what each fault changed is in `changes` once it is read."""
        chunks = self._compiler.chunks(begin_s, end_s)
        for name, fault in self._plan.faults.items():
            self.changes[name] = Changes()
            chunks = fault.apply(self.header, chunks, self.changes[name])
        return chunks

    def pins(
        self, stage: OutputStage, lead_ticks: int, shortest_hold_ticks: int
    ) -> tuple[PinMaker, Iterator[PinChunk]]:
        """The pin table of the edge table, and its maker, which counts what had to be moved."""
        maker = PinMaker(self.header, stage, lead_ticks, shortest_hold_ticks)
        return maker, maker.chunks(self.edges())

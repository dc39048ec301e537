"""From a plan of the signal to the chunks that are recorded and the chunks that are sent."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from edgewheel.edges.captures.playback import PlaybackTable
from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.phase import BLOCK_EDGES
from edgewheel.edges.pins import PinMaker
from edgewheel.edges.stage import OutputStage
from edgewheel.edges.supply import SupplyLine, with_supply
from edgewheel.edges.table import EdgeChunk, EdgeHeader, PinChunk
from edgewheel.fault.draw import key_of
from edgewheel.fault.model import Changes, Scene
from edgewheel.fault.numbers import NumberLines, with_number_lines, with_numbers
from edgewheel.fault.signal import SignalPlan

__all__ = ["Pipeline", "SignalPlan"]


class Pipeline:
    """One signal plan on one clock. A reading starts from the beginning, or from a time on.

    Near a later beginning the faults do not know what came before; it is up to the reader to begin
    as far ahead as they reach.
    """

    def __init__(self, plan: SignalPlan, tick_hz: int, lines: Sequence[NumberLines] = ()) -> None:
        """`lines` tell what the half-waves of voltages are, beside the tracks."""
        self._plan = plan
        self._lines = lines
        self._tick_hz = tick_hz
        self._faults = plan.edge_faults
        self._source: EdgeCompiler | PlaybackTable = (
            PlaybackTable(plan.capture, tick_hz)
            if plan.capture
            else EdgeCompiler(
                plan.levels, plan.motion, tick_hz, passages=bool(self._faults or lines)
            )
        )
        self.changes = {name: Changes() for name in plan.faults} | dict(plan.prepared)

    @property
    def header(self) -> EdgeHeader:
        """The header of the edge table, faults included."""
        return self.table()[0]

    def edges(self) -> Iterator[EdgeChunk]:
        """The edge table; what each fault changed is in `changes` once it is read."""
        return self.table()[1]

    def table(
        self, begin_s: Fraction = Fraction(0), chunk_edges: int = BLOCK_EDGES
    ) -> tuple[EdgeHeader, Iterator[EdgeChunk]]:
        """Header and edges, from a time on (a capture: from its beginning)."""
        plan = self._plan
        header, chunks = self._sound(begin_s, chunk_edges)
        begin_tick = round(begin_s * self._tick_hz)
        for name, fault in self._faults.items():
            self.changes[name] = Changes()
            scene = replace(self._scene(begin_tick), key=key_of(plan.seed, name))
            header, chunks = fault.apply(scene, header, chunks, self.changes[name])
        return header, chunks

    def played(
        self,
        begin_s: Fraction = Fraction(0),
        chunk_edges: int = BLOCK_EDGES,
        supply: SupplyLine | None = None,
    ) -> tuple[EdgeHeader, Iterator[EdgeChunk]]:
        """The same with what a board plays beside the tracks: a `supply`, lines of numbers."""
        header, chunks = self.table(begin_s, chunk_edges)
        scene = self._scene(round(begin_s * self._tick_hz))
        for lines in self._lines:
            chunks = with_numbers(chunks, scene, self._plan, lines)
        if supply is not None:
            header, chunks = with_supply(header, chunks, supply)
        if self._lines:
            header = with_number_lines(header, self._lines)
        return header, chunks

    def _scene(self, begin_tick: int = 0) -> Scene:
        """Where faults work, but for the key of their draws."""
        plan = self._plan
        return Scene(plan.levels, plan.motion, self._tick_hz, 0, plan.tdc_deg, begin_tick)

    def _sound(self, begin_s: Fraction, chunk_edges: int) -> tuple[EdgeHeader, Iterator[EdgeChunk]]:
        """The table before the faults of sensor and loom."""
        source = self._source
        if isinstance(source, PlaybackTable):
            return source.header(), source.chunks()
        return source.header(begin_s), source.chunks(begin_s, None, chunk_edges)

    def pins(
        self,
        stage: OutputStage,
        lead_ticks: int,
        shortest_hold_ticks: int,
        supply: SupplyLine | None = None,
    ) -> tuple[PinMaker, Iterator[PinChunk]]:
        """The pin table of the edge table, and its maker, which counts what had to be moved.

        It lasts as long as the motion, also where the engine stands at the end. A `supply`'s line,
        and those of numbers, are more of the stage's.
        """
        header, chunks = self.played(supply=supply)
        maker = PinMaker(header, stage, lead_ticks, shortest_hold_ticks)
        return maker, maker.chunks(chunks, round(self._plan.motion.end_s * self._tick_hz))

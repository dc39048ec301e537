"""Signals for the tests of faults: a wheel, a motion, some faults, and what comes of them."""

from collections.abc import Iterable, Iterator, Mapping
from fractions import Fraction

import numpy as np

from edgewheel.edges.compile import EdgeCompiler
from edgewheel.edges.pins import PinMaker
from edgewheel.edges.stage import OutputStage
from edgewheel.edges.table import EdgeChunk, join
from edgewheel.fault.draw import key_of
from edgewheel.fault.loader import read_faults
from edgewheel.fault.model import Changes, Scene
from edgewheel.fault.pipeline import Pipeline
from edgewheel.fault.signal import signal_of
from edgewheel.motion.motion import Motion
from edgewheel.motion.segment import hold
from edgewheel.wheel.loader import parse_wheel
from edgewheel.wheel.model import Wheel
from edgewheel.yamlfile import parse

HZ = 1_000_000
"""One tick is a microsecond, so that expectations can be read."""

FOUR = """
format: 1
name: Four even teeth and a half-turn cam
summary: one tooth a quarter turn, 45 degrees wide; a cam tooth of half a crank turn
period: 720
tracks:
  crank: {shaft: crank, teeth: {pitches: 4, width: 1/2}}
  cam: {shaft: cam, teeth: [[5, 95]]}
tdc: {1: 100, 3: 280, 4: 460, 2: 640}
"""

Row = tuple[int, str, int]


def wheel_of(text: str) -> Wheel:
    return parse_wheel(text, "wheel.yaml")


def turns(count: int, rpm: int = 1000) -> Motion:
    """At 1000 rpm a degree is 166 2/3 ticks and a quarter turn 15,000."""
    return Motion([hold(Fraction(rpm), turns=Fraction(count))])


class Signal:
    """The faulty signal of a wheel; `faults` as in a bench file."""

    def __init__(
        self,
        faults: str = "{}",
        wheel: Wheel | None = None,
        motion: Motion | None = None,
        seed: int = 0,
        tick_hz: int = HZ,
        sensors: Mapping[str, object] | None = None,
    ):
        self.wheel = wheel or wheel_of(FOUR)
        own = tuple((sensors or {}).get(t.name, t.sensor) for t in self.wheel.tracks)
        read = read_faults(parse(faults, "bench.yaml"), self.wheel, own)
        self.plan = signal_of(self.wheel, own, motion or turns(2), read, seed)
        self.pipeline = Pipeline(self.plan, tick_hz)
        self.header = self.pipeline.header
        self.tick_hz = tick_hz
        self.edges = join(*self.pipeline.edges())

    @property
    def rows(self) -> list[Row]:
        return rows(self.edges, self.header.tracks)

    def on(self, track: str) -> list[tuple[int, int]]:
        return [(tick, level) for tick, name, level in self.rows if name == track]

    @property
    def changes(self):
        """Of all faults: (kind, tick, to tick)."""
        return [
            (change.kind.value, change.tick, change.to_tick)
            for done in self.pipeline.changes.values()
            for change in done.kept
        ]

    def in_chunks(self, size: int) -> list[Row]:
        """The same signal, the sound edges coming in chunks of another size."""
        return rows(join(*self.let_go(self.sound_chunks(size))), self.header.tracks)

    def sound_chunks(self, size: int) -> Iterator[EdgeChunk]:
        """The edges before any edge fault."""
        plan = self.plan
        compiler = EdgeCompiler(plan.levels, plan.motion, self.tick_hz, passages=True)
        return compiler.chunks(chunk_edges=size)

    def let_go(self, chunks: Iterable[EdgeChunk]) -> Iterator[EdgeChunk]:
        """What the edge faults, one after the other, make of chunks."""
        plan = self.plan
        header = EdgeCompiler(plan.levels, plan.motion, self.tick_hz).header()
        for name, fault in plan.edge_faults.items():
            key = key_of(plan.seed, name)
            scene = Scene(plan.levels, plan.motion, self.tick_hz, key, plan.tdc_deg)
            header, chunks = fault.apply(scene, header, chunks, Changes())
        return iter(chunks)

    def check_playable(self) -> None:
        """What the pin maker asks of every table: levels alternate, edges of a track are apart."""
        straight = OutputStage.straight(len(self.header.tracks))
        maker = PinMaker(self.header, straight, 0, 1)
        for chunk in maker.chunks([self.edges]):
            assert (np.diff(chunk.ticks) > 0).all()


def rows(edges: EdgeChunk, tracks) -> list[Row]:
    names = [tracks[t] for t in edges.track.tolist()]
    return list(zip(edges.ticks.tolist(), names, edges.level.tolist(), strict=True))


def sound(**how) -> Signal:
    return Signal("{}", **how)


def faulty(words: str, **how) -> Signal:
    signal = Signal(f"{{fault: {{{words}}}}}", motion=how.pop("motion", turns(3)), **how)
    signal.check_playable()
    return signal


def gone_and_new(words: str, **how):
    """(track, tick, level) of the edges that are only in the sound signal, only in the faulty."""
    one, other = sound(motion=how.get("motion", turns(3))), faulty(words, **how)
    return sorted(set(one.rows) - set(other.rows)), sorted(set(other.rows) - set(one.rows))

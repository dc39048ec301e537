"""A live run on the simulated bench in virtual time, stepped by hand, and what its pins did."""

import time
from fractions import Fraction

import numpy as np

from edgewheel.bench.links import SimulatedLink
from edgewheel.bench.live.course import SpeedWish
from edgewheel.bench.live.leg import Wish
from edgewheel.bench.live.run import LiveRun, Order
from edgewheel.bench.live.settings import LiveFaults
from edgewheel.bench.live.state import CourseTaken, FaultState
from edgewheel.bench.loader import load_plan
from edgewheel.clock import VirtualClock
from edgewheel.edges.pins import PinMaker
from edgewheel.fault.pipeline import Pipeline
from edgewheel.link.events import Connected
from edgewheel.search.recorded import RecordedRun

BENCH = """\
format: 1
name: Fan 3 live
wheel: {wheel}
board: {{kind: sim, tick_hz: 16000000}}
{more}
controller:
  kind: sim
  settings:
    crank: {{line: crank, edge: rising, blanking_percent: 20}}
    cam: {{line: cam}}
    wheel: {{kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}}
    phase: {{by: level, level: high}}
    engine: {{firing_order: [1, 3, 4, 2], tdc_after_reference_deg: 84}}
"""

HZ = 16_000_000

EDGE_FAULTS = {
    "dropped_tooth": "track: crank, every: 7",
    "late_tooth": "track: crank, teeth: [4, 8, 30], deg: 2",
    "extra_pulse": "track: crank, teeth: [7, 31], width_us: 60",
    "bounce": "track: crank, after: rise, delay_us: 80, width_us: 30, chance: 0.3",
    "bounce_by_period": "kind: bounce, track: crank, delay_percent: 10, width_us: 30",
    "noise": "tracks: [crank, cam], bursts_per_s: 30, width_us: 20, pulses: 3, gap_us: 35",
    "ignition": "kind: noise, tracks: [crank], ignition_deg: 10, width_us: 20",
    "jitter": "track: crank, deg: 1",
    "loose": "track: crank, lasts_ms: 3, breaks_per_s: 30, shows: high",
    "loose_at_teeth": "kind: loose, track: crank, lasts_ms: 3, teeth: [9], shows: low",
    "lost": "track: cam, shows: high",
    "polarity": "track: crank",
    "swapped": "track: crank, other: cam",
    "wandering": "track: cam, range_deg: 40, period_s: 0.15",
}
METAL_FAULTS = {
    "missing_tooth": "track: crank, teeth: [5, 6, 40]",
    "bent_tooth": "track: crank, teeth: [5, 30], by_deg: 1",
    "worn_teeth": "track: crank, leading_deg: 1",
    "eccentric": "track: crank, offset_percent: 1",
    "shifted": "track: cam, by_deg: 30",
}


LAST_S = 0.01
"""Seconds after which nothing is seen of a fault that was switched off."""


def sound_of(playing):
    """The signal of the course that was played, without faults."""
    motion = playing.run.leg.motion
    return playing.run._planner.sensed.signal(motion, {}, motion.end_s)


def line(kind, words, off=True):
    kind = "" if words.startswith("kind:") else f"kind: {kind}, "
    return f"faults: {{bad: {{off: {str(off).lower()}, {kind}{words}}}}}"


def plan_of(folder, more="", wheel="60-minus-2-half-moon-cam"):
    file = folder / "bench.yaml"
    file.write_text(BENCH.format(wheel=wheel, more=more))
    return load_plan(file)


class Playing:
    """A live run of a plan: order, then let virtual time pass. `switched` says by name which
    faults stand otherwise at the start than in the bench file.
    """

    def __init__(self, folder, rpm, more="", switched=None, **bench):
        self.faults = LiveFaults.of(plan_of(folder, more, **bench))
        plan = self.plan = self.faults.plan
        for name, state in (switched or {}).items():
            self.faults = self.faults.switched(name, state)
        self.clock = VirtualClock()
        self.link = SimulatedLink(plan, self.clock)
        self.events, self._ticks, self._masks, self._peaks = [], [], [], []
        wired = self.link._wired
        exchange = wired.exchange

        def listen(transitions, until_tick):
            self._ticks.append(transitions.ticks)
            self._masks.append(transitions.masks)
            self._peaks += transitions.peaks
            return exchange(transitions, until_tick)

        wired.exchange = listen
        while not (welcome := self._connected()):
            pass
        self.run = LiveRun(plan, self.link, welcome, folder / "runs", 0, self.faults.wish())
        self.run.begin(Fraction(rpm))

    def _connected(self):
        events = self.link.step().events
        return next((one.welcome for one in events if isinstance(one, Connected)), None)

    def play(self, seconds):
        """Let time pass."""
        end_ns = self.clock.now_ns() + round(seconds * 1e9)
        while self.clock.now_ns() < end_ns:
            self.events += self.run.take(self.link.step())

    def speed(self, rpm, rate=None):
        rate = None if rate is None else Fraction(rate)
        self._change(Wish(SpeedWish(Fraction(rpm), rate), self.faults.wish()))

    def fault(self, name, state):
        self.faults = self.faults.switched(name, state)
        once = frozenset({name} if state is FaultState.ONCE else ())
        self._change(Wish(None, self.faults.wish(once)))

    def edit(self, address, text):
        self.faults = self.faults.edited(address, text)
        self._change(Wish(None, self.faults.wish()))

    def _change(self, wish):
        self.run.change(Order(wish, self.link.now()))

    def park(self):
        self.parked_s = self.run.seconds(self.link.now())
        self.run.park()
        while not self.run.over:
            self.events += self.run.take(self.link.step())
        self.run.close()

    @property
    def taken(self):
        return [event for event in self.events if isinstance(event, CourseTaken)]

    def pins(self):
        """Table ticks and masks of all that the pins did, from table tick 0 to the parking."""
        ticks, masks = np.concatenate(self._ticks), np.concatenate(self._masks)
        ticks = ticks - self.run._follower.origin
        armed = -self.run._planner.limits.lead_ticks  # the initial levels are no edge
        played = (ticks > armed) & (ticks < self.parked_s * HZ)
        return ticks[played], masks[played]

    def half_waves(self):
        """Of the crank's voltage: seconds at which each half-wave ends, and its height in mV."""
        ticks = np.concatenate([one.ticks for one in self._peaks])
        mv = np.concatenate([one.heights for one in self._peaks])
        seconds = (ticks - self.run._follower.origin) / HZ + float(self.plan.stage[0].rise_us) / 1e6
        return seconds, mv * self.plan.voltages[0].mv_a_height

    def crank(self):
        """Table ticks and levels of the crank line."""
        ticks, masks = self.pins()
        levels = masks & 1
        changed = np.flatnonzero(np.diff(levels, prepend=levels[0] ^ 1))
        return ticks[changed], levels[changed]


def scripted(playing, signal=None):
    """What the board would play of the whole course if it had been known from the start."""
    run = playing.run
    limits = run._planner.limits
    motion, switched = run.leg.motion, run.leg.switched
    signal = signal or run._planner.sensed.signal(motion, switched, motion.end_s)
    header, edges = Pipeline(signal, HZ, limits.lines).played(chunk_edges=2048)
    maker = PinMaker(header, limits.stage, limits.lead_ticks, limits.shortest_hold_ticks)
    ticks, _ = playing.pins()
    found_ticks, found_masks = [], []
    for chunk in maker.chunks(edges):
        found_ticks.append(chunk.ticks - limits.lead_ticks)
        found_masks.append(chunk.masks)
        if len(chunk) and found_ticks[-1][-1] > ticks[-1]:
            break
    return np.concatenate(found_ticks), np.concatenate(found_masks)


def assert_as_scripted(playing, apart_s=0):
    """Every transition of the pins is that of the scripted course, at its tick.

    But for those nearer than `apart_s` to a change: a fault that looks ahead cannot see it.
    """
    ticks, masks = playing.pins()
    wanted_ticks, wanted_masks = (part[: len(ticks)] for part in scripted(playing))
    assert len(ticks) > 100
    borders = [taken.seconds * HZ for taken in playing.taken]
    near = np.abs(wanted_ticks[:, None] - np.array([*borders, -HZ])).min(axis=1) < apart_s * HZ
    assert ticks[~near].tolist() == wanted_ticks[~near].tolist()
    assert masks.tolist() == wanted_masks.tolist()


def assert_plays_again(playing):
    """The bench file in the folder, played from the start, does what the pins did."""
    ticks, masks = playing.pins()
    plan = RecordedRun(playing.run.record.folder).plan
    assert (plan.signal.motion.end_s * HZ).denominator == 1
    wanted_ticks, wanted_masks = scripted(playing, plan.signal)
    assert len(ticks) > 100 and len(wanted_ticks) >= len(ticks) - 1
    ticks, masks = ticks[: len(wanted_ticks)], masks[: len(wanted_masks)]
    assert ticks.tolist() == wanted_ticks[: len(ticks)].tolist()
    assert masks.tolist() == wanted_masks[: len(masks)].tolist()


def differences(playing):
    """Seconds of every transition that the sound signal does not have, or has and this has not."""
    found = set(zip(*(part.tolist() for part in playing.pins()), strict=True))
    ticks, masks = (part.tolist() for part in scripted(playing, sound_of(playing)))
    last = playing.pins()[0][-1]
    sound = {pair for pair in zip(ticks, masks, strict=True) if pair[0] <= last}
    return np.array(sorted({tick / HZ for tick, _ in found ^ sound}))


class Teller:
    """Listens to what the simulated controller's wires carry, and tells it in the wall's time."""

    def __init__(self):
        self._parts = []

    def listening(self, exchange):
        """`ControllerOnPins.exchange`, overheard."""

        def listen(wired, transitions, until_tick):
            self._parts.append((time.monotonic(), until_tick, transitions))
            return exchange(wired, transitions, until_tick)

        return listen

    def told(self, tick_hz):
        """Seconds at which crank teeth begin, and of the last edge of any line.

        A board reckons up to a tick a little after it has come: the least difference is the true.
        """
        offset_s = min(seconds - tick / tick_hz for seconds, tick, _ in self._parts)
        ticks = np.concatenate([part.ticks for _, _, part in self._parts])
        levels = np.concatenate([part.masks for _, _, part in self._parts]) & 1
        teeth = np.flatnonzero((levels[1:] == 1) & (levels[:-1] == 0)) + 1
        seconds = ticks / tick_hz + offset_s
        return seconds[teeth].tolist(), float(seconds[-1])

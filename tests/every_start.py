"""A decoder that tries every start, step by step: the slow reference for `certainty`.

It works from the angle table and keeps every start that is still possible, over three whole
periods of the wheel; it knows nothing of symmetry or diagonals.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache

from edgewheel.wheel.angles import angle_table
from edgewheel.wheel.model import Wheel


def pin_changes(wheel: Wheel) -> list[tuple[Fraction, int, bool]]:
    """(crank degrees, track, level from there on) over one period, ascending."""
    table = angle_table(wheel)
    changes = []
    for number, track in enumerate(wheel.tracks):
        high = track.sensor.metal == "high"
        own = [
            (angle, metal)
            for angle, which, metal in zip(table.angles, table.track, table.metal, strict=True)
            if which == number
        ]
        for index, (angle, metal) in enumerate(own):
            following = own[(index + 1) % len(own)][0]
            if track.sensor.direction:
                if metal:
                    changes.append((angle, number, high))
            elif track.sensor.kind == "vr":
                middle = (angle + (following - angle) % table.period / 2) % table.period
                changes.append((middle, number, high != metal))
            else:
                changes.append((angle, number, high == metal))
    return sorted(changes)


class TryEverything:
    """All that the slow decoder finds out about one wheel."""

    def __init__(self, wheel: Wheel, edges: str, levels: bool, tolerance: Fraction) -> None:
        self.wheel, self.period = wheel, wheel.period
        self.events = self._events(edges, levels)
        self.count = len(self.events)
        self.position: list[int | None] = []
        self.phase: list[int | None] = []
        self.known_ratios: dict[Fraction, Fraction] = {}
        self.ratios = [self._ratios(index) for index in range(self.count)]
        self.places = {turn: self._places(turn) for turn in (360, self.period)}
        self.apart = cache(lambda a, b: max(a, b) > (1 + tolerance) * min(a, b))
        for start in range(self.count):
            self._decode(start)

    def _events(self, edges: str, levels: bool) -> list[tuple[Fraction, tuple, tuple]]:
        changes = pin_changes(self.wheel)
        readable = [
            track.sensor.kind == "hall" and track.sensor.direction is None
            for track in self.wheel.tracks
        ]
        state = {track: level for _, track, level in changes}
        events = []
        for angle in sorted({angle for angle, _, _ in changes}):
            seen = set()
            for _, track, level in [one for one in changes if one[0] == angle]:
                state[track] = level
                pulses = self.wheel.tracks[track].sensor.direction is not None
                if pulses or edges == "both" or level == (edges == "rise"):
                    seen.add(track)
            if seen:
                pins = [state[n] for n, can in enumerate(readable) if can and levels]
                events.append((angle, tuple(sorted(seen)), tuple(pins)))
        return events

    def angle(self, index: int) -> Fraction:
        return self.events[index % self.count][0] + index // self.count * self.period

    def _places(self, turn: int) -> list[int]:
        """A number for each event that is the same where the angle within the turn is."""
        angles = [angle % turn for angle, _, _ in self.events]
        return [angles.index(angle) for angle in angles]

    def _ratios(self, index: int) -> list[tuple[int, Fraction]]:
        """For each track at an event: events since its last edge but one, and its period ratio."""
        found = []
        for track in self.events[index][1]:
            places = [index]
            while len(places) < 3:
                places.append(places[-1] - 1)
                while track not in self.events[places[-1] % self.count][1]:
                    places[-1] -= 1
            last, middle, first = (self.angle(place) for place in places)
            ratio = (last - middle) / (middle - first)
            found.append((index - places[2], self.known_ratios.setdefault(ratio, ratio)))
        return found

    def _alike(self, start: int, other: int, step: int) -> bool:
        one, two = (start + step) % self.count, (other + step) % self.count
        if one == two:
            return True
        if self.events[one][1:] != self.events[two][1:]:
            return False
        return not any(
            back <= step and a is not b and a != b and self.apart(a, b)
            for (back, a), (_, b) in zip(self.ratios[one], self.ratios[two], strict=True)
        )

    def _decode(self, start: int) -> None:
        possible = set(range(self.count))
        unsettled = {360: -1, self.period: -1}
        for step in range(3 * self.count):
            possible = {other for other in possible if self._alike(start, other, step)}
            for turn in unsettled:
                places = self.places[turn]
                if len({places[(other + step) % self.count] for other in possible}) > 1:
                    unsettled[turn] = step
            if possible == {start}:
                break
        known = {
            turn: None if last >= 2 * self.count else start + last + 1
            for turn, last in unsettled.items()
        }
        self.position.append(known[360])
        self.phase.append(known[self.period])

    def longest(self, known: list[int | None]) -> tuple[Fraction, int] | None:
        """(crank degrees, edges seen) of the worst start, None if it never ends."""
        if None in known:
            return None
        settled = list(enumerate(known))
        return (
            max(self.angle(last) - self.angle(start - 1) for start, last in settled),
            max(last - start + 1 for start, last in settled),
        )

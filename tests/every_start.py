"""A decoder that tries every start, step by step: the slow reference for `certainty`.

It works from the angle table and keeps every start that is still possible, over three whole
periods of the wheel; it knows nothing of symmetry or diagonals.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import groupby

import numpy as np

from edgewheel.wheel.angles import angle_table
from edgewheel.wheel.model import Wheel

NEVER = 1 << 30


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
    """All that the slow decoder finds out about one wheel, for all starts in step.

    Each `start` is kept with every other one that is still possible; `pair` is the events, as one
    number, at which the two are after so many steps.
    """

    def __init__(self, wheel: Wheel, edges: str, levels: bool, tolerance: Fraction) -> None:
        self.wheel, self.period = wheel, wheel.period
        self.events = self._events(edges, levels)
        self.count = len(self.events)
        told_after = self._told_after(tolerance).ravel()
        places = np.arange(self.count**2).reshape(self.count, self.count)
        following = np.roll(places, (-1, -1), (0, 1)).ravel()
        differs = {turn: self._differs(turn) for turn in (360, self.period)}
        unsettled = {turn: np.full(self.count, -1) for turn in differs}
        pair = np.flatnonzero(told_after >= 0)
        start = pair // self.count
        for step in range(3 * self.count):
            alike = told_after[pair] >= step
            if not alike.all():
                start, pair = start[alike], pair[alike]
            if len(start) == self.count:
                break
            for turn, differ in differs.items():
                unsettled[turn][start[differ[pair]]] = step
            pair = following[pair]
        self.position = self._known(unsettled[360])
        self.phase = self._known(unsettled[self.period])

    def _events(self, edges: str, levels: bool) -> list[tuple[Fraction, tuple, tuple]]:
        changes = pin_changes(self.wheel)
        readable = [
            track.sensor.kind == "hall" and track.sensor.direction is None
            for track in self.wheel.tracks
        ]
        state = {track: level for _, track, level in changes}
        events = []
        for angle, together in groupby(changes, lambda change: change[0]):
            seen = set()
            for _, track, level in together:
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

    def _differs(self, turn: int) -> np.ndarray:
        """For each pair of events, flat: is the angle within the turn another?"""
        angles = [angle % turn for angle, _, _ in self.events]
        number = {angle: number for number, angle in enumerate(angles)}
        numbers = np.array([number[angle] for angle in angles])
        return (numbers[:, None] != numbers).ravel()

    def _told_after(self, tolerance: Fraction) -> np.ndarray:
        """For each pair of events how many a decoder must have seen before, to tell them apart."""
        ratios = [self._ratios(index) for index in range(self.count)]
        looks = [
            (*self.events[index][1:], tuple(ratio for _, ratio in ratios[index]))
            for index in range(self.count)
        ]
        known = {look: number for number, look in enumerate(dict.fromkeys(looks))}
        number_of = np.array([known[look] for look in looks])
        rows = []
        for look, own in zip(looks, ratios, strict=True):
            told = [_told_after(look, other, own, tolerance) for other in known]
            rows.append(np.array(told)[number_of])
        return np.array(rows)

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
            found.append((index - places[2], (last - middle) / (middle - first)))
        return found

    def _known(self, unsettled: np.ndarray) -> list[int | None]:
        return [
            None if last >= 2 * self.count else start + int(last) + 1
            for start, last in enumerate(unsettled)
        ]

    def longest(self, known: list[int | None]) -> tuple[Fraction, int] | None:
        """(crank degrees, edges seen) of the worst start, None if it never ends."""
        if None in known:
            return None
        settled = list(enumerate(known))
        return (
            max(self.angle(last) - self.angle(start - 1) for start, last in settled),
            max(last - start + 1 for start, last in settled),
        )


def _told_after(look: tuple, other: tuple, own: list, tolerance: Fraction) -> int:
    """The events that must have been seen before one that looks so is told from the other."""
    if look[:2] != other[:2]:
        return -1
    return min(
        (
            back - 1
            for (back, a), b in zip(own, other[2], strict=True)
            if max(a, b) > (1 + tolerance) * min(a, b)
        ),
        default=NEVER,
    )

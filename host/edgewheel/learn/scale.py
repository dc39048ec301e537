"""What one repeat is: a turn of the crank, of the cam, or a part of one.

A pattern alone cannot tell how fast its shaft turned. What usually is, is taken and said; a speed
that somebody knows settles it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from math import log

from edgewheel.learn.repeat import Repeat, turns_alike
from edgewheel.wheel.model import Shaft

FASTEST_RPM = 8000
"""An even row is taken for as many teeth a turn as keep the engine below this."""

MOST_COPIES = 400

EVEN_ROW = "An even row says nothing of how many teeth a turn has; give --teeth or --rpm."


@dataclass(frozen=True)
class Scale:
    """`copies` repeats make the wheel's `period` of crank degrees; `shafts` by track.

    `reason` says why; `known` is False where that is what is usual, `guessed` True where nothing
    speaks for it.
    """

    period: int
    copies: int
    shafts: dict[str, Shaft]
    known: bool
    reason: str
    guessed: bool = False

    @property
    def repeat_deg(self) -> float:
        """Crank degrees in a repeat."""
        return self.period / self.copies


def scale_of(
    repeat: Repeat,
    shortest_s: float,
    mean_s: float,
    rpm: float | None = None,
    teeth: int | None = None,
) -> Scale:
    """The scale of a repeat that took `mean_s` seconds as a rule, `shortest_s` at the fastest.

    `rpm` is how fast the crank turned as a rule, `teeth` how many of the busiest track passed in a
    turn of it, if somebody knows.
    """
    parts = {track: own_parts(repeat, track) for track in repeat.tracks}
    even = {
        track: max(len(repeat.places(track, level)) for level in (0, 1)) == parts[track]
        for track in parts
    }
    if teeth is not None:
        own = max(len(repeat.places(track, level)) for track in parts for level in (0, 1))
        turns = Fraction(own, teeth)
        period = 360 if (1 / turns).denominator == 1 and len(parts) == 1 else 720
        copies = round(period / 360 / turns) or 1
        return _scaled(period, copies, parts, True, f"as {teeth} teeth a crank turn were given")
    if rpm is not None:
        period, copies = _by_speed(60 / mean_s, rpm, all(even.values()), len(parts))
        return _scaled(period, copies, parts, True, f"as about {rpm:g} rpm were given")
    return _usual(repeat, shortest_s, parts, even)


def _usual(
    repeat: Repeat, shortest_s: float, parts: dict[str, int], even: dict[str, bool]
) -> Scale:
    """The scale that the pattern tells, or that such patterns usually have."""
    if any(parts[track] == 2 and not even[track] for track in parts) and len(parts) > 1:
        reason = "a track repeats twice in it, as the crank does in a turn of the cam"
        return _scaled(720, 1, parts, True, reason)
    if all(even.values()) and len(parts) == 1:
        copies = 1
        while 60 / shortest_s / copies > FASTEST_RPM and copies < MOST_COPIES:
            copies += 1
        reason = f"an even row, taken for one that turns below {FASTEST_RPM} rpm"
        return replace(_scaled(360, copies, parts, False, reason), guessed=True)
    if len(parts) == 1:
        return _scaled(360, 1, parts, False, "taken for a turn of the crank, as is usual")
    if repeat.slots % 2:
        reason = "taken for a turn of the crank: its teeth do not part in two turns"
        return _scaled(360, 1, parts, False, reason)
    return _scaled(720, 1, parts, False, "taken for a turn of the cam, as usual with two tracks")


def own_parts(repeat: Repeat, track: str) -> int:
    """Into how many like parts a track alone divides the repeat."""
    streams = [repeat.places(track, level) for level in (0, 1)]
    count = max(len(places) for places in streams)
    return max(
        parts
        for parts in range(1, count + 1)
        if all(turns_alike(places, repeat.slots, parts) for places in streams)
    )


def _by_speed(repeats_per_minute: float, rpm: float, even: bool, tracks: int) -> tuple[int, int]:
    """Period and copies that come nearest to a speed."""
    most = MOST_COPIES if even else 12
    periods = (360, 720) if tracks > 1 or not even else (360,)
    choices = [(period, copies) for copies in range(1, most + 1) for period in periods]

    def off(choice: tuple[int, int]) -> float:
        period, copies = choice
        return abs(log(repeats_per_minute * period / 360 / copies / rpm)) + 1e-6 * copies

    return min(choices, key=off)


def _scaled(period: int, copies: int, parts: dict[str, int], known: bool, reason: str) -> Scale:
    shafts: dict[str, Shaft] = {
        track: "crank" if period == 360 or own * copies % 2 == 0 else "cam"
        for track, own in parts.items()
    }
    return Scale(period, copies, shafts, known, reason)

"""What the board is told of each half-wave of a bench's voltages, and by which outputs."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from edgewheel.edges.phase import Floats
from edgewheel.errors import UsageError
from edgewheel.fault.numbers import NumberLines
from edgewheel.fault.strength import RunOut, nearest_shares, open_shares
from edgewheel.link.waves import FULL_STRENGTH, MOST_NUMBER_BITS, UNTOLD, Number, Numbers, WaveForm

PAST_OUTPUT = 6
"""Lines are on outputs below this one, which switches the controller's supply in `hardware/`."""

CLEAR = Fraction(5, 2)
"""Half-waves of which each is longer by more than this than the next shorter one are told apart by
their times, whatever ripple and faults do to them."""

LEAST_SHARES = 4
"""Lengths are told if so many strengths can be told besides, or all that there are; in a live run,
which needs some for what may yet come, only if all can."""


@dataclass(frozen=True)
class Voiced:
    """A track that is played as a voltage: all strengths (n,) that its half-waves may have, and all
    their lengths in crank degrees, both ascending.
    """

    track: int
    run_out: RunOut
    strengths: Floats
    lengths_deg: Sequence[Fraction]

    @property
    def is_plain(self) -> bool:
        """Has every half-wave the sensor's own strength?"""
        return list(self.strengths) == [1.0]

    @property
    def is_clear(self) -> bool:
        """Do their times alone tell half-waves apart?"""
        return all(longer > CLEAR * shorter for shorter, longer in pairwise(self.lengths_deg))

    def lines(self, past: int, bits: int, live: bool) -> NumberLines:
        """The lines below output `past`, at most so many."""
        lengths = self._told(1 << bits, live)
        room = (1 << bits) // max(len(lengths), 1)
        shares = [1.0] if self.is_plain else self._shares(room, live)
        lines = NumberLines(self.track, 0, tuple(shares), lengths, self.run_out)
        return replace(lines, first=past - lines.bits)

    def _told(self, room: int, live: bool) -> tuple[float, ...]:
        lengths = self.lengths_deg
        least = len(self.strengths) if live else min(len(self.strengths), LEAST_SHARES)
        if self.is_clear or room // len(lengths) < least:
            return ()
        return tuple(float(length) for length in lengths)

    def _shares(self, room: int, live: bool) -> list[float]:
        return open_shares(self.strengths, room) if live else nearest_shares(self.strengths, room)


def number_lines(voiced: Collection[Voiced], used: int, live: bool) -> tuple[NumberLines, ...]:
    """The lines of the tracks, those that strengths need the highest; in a `live` run there is room
    for strengths that nobody knows yet.

    `used` outputs, the lowest ones, carry something else. Raises UsageError if none is left that a
    strength needs; where there are too few, lengths alone are not told.
    """
    past, lines = PAST_OUTPUT, []
    wanted = [one for one in voiced if not one.is_plain or not one.is_clear]
    needed = sum(not one.is_plain for one in wanted)
    wanted = sorted(wanted, key=lambda one: one.is_plain)[: max(past - used, needed)]
    for left, one in zip(range(len(wanted), 0, -1), wanted, strict=True):
        bits = min((past - used) // left, MOST_NUMBER_BITS)
        if bits < 1:
            raise UsageError(
                "Run-out and weak teeth of a voltage need an output of the board that nothing else "
                f"uses, below output {PAST_OUTPUT + 1}, which is kept for a supply. Take a wheel "
                "of fewer tracks, or leave 'run_out' and 'weak_signal' out."
            )
        found = one.lines(past, bits, live)
        if found.count > 1:
            lines.append(found)
            past = found.first
    return tuple(lines)


def numbered(form: WaveForm, lines: NumberLines, ticks_per_deg: Fraction) -> WaveForm:
    """The form with what its numbers say; its peak is that of the strongest tooth."""
    strongest = lines.strongest
    numbers = [
        Number(round(FULL_STRENGTH * share / strongest), kind)
        for kind in _kinds(form, lines, ticks_per_deg)
        for share in lines.shares
    ]
    numbers += numbers[-1:] * ((1 << lines.bits) - len(numbers))
    peak = max(1, math.floor(form.peak * strongest))
    return replace(form, peak=peak, numbers=Numbers(lines.first, tuple(numbers)))


def _kinds(form: WaveForm, lines: NumberLines, ticks_per_deg: Fraction) -> list[int]:
    """The place of each length of the lines among the half-waves of a form."""
    if not lines.lengths_deg:
        return [UNTOLD]
    knees = [one.knee_ticks for one in form.half_waves]
    lengths = [float(ticks_per_deg) * length for length in lines.lengths_deg]
    return [knees.index(min(knees, key=lambda knee: abs(knee - ticks))) for ticks in lengths]

"""How strong the teeth of a bench's voltages are, and which outputs of the board tell it."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Protocol

from edgewheel.edges.levels import LevelTable
from edgewheel.edges.phase import Floats
from edgewheel.errors import UsageError
from edgewheel.fault.model import VoltageFault
from edgewheel.fault.strength import (
    RunOut,
    StrengthLines,
    ToothStrengths,
    open_strength_lines,
    strength_lines,
)
from edgewheel.link.waves import FULL_STRENGTH, MOST_STRENGTH_BITS, Strengths, WaveForm
from edgewheel.wheel.model import MOST_TRACKS


class HasRunOut(Protocol):
    """What is to be known of a track's voltage."""

    @property
    def run_out(self) -> Fraction: ...
    @property
    def closest_at(self) -> Fraction: ...


def strengths_of(
    voltages: Sequence[HasRunOut | None],
    levels: LevelTable,
    faults: Collection[VoltageFault],
    used: int,
    live: bool = False,
) -> tuple[StrengthLines, ...]:
    """The lines that tell how strong the teeth of voltages are, from the highest output down.

    `used` outputs, the lowest ones, carry something else; those of a `live` run have room for
    strengths that nobody knows yet. Raises UsageError if no output is left.
    """
    found: list[tuple[ToothStrengths, Floats]] = []
    for sensed in levels.vr:
        voltage = voltages[sensed.track]
        if voltage is None:
            continue
        name = levels.tracks[sensed.track]
        run_out = RunOut(float(voltage.run_out), voltage.closest_at)
        of = ToothStrengths(sensed.track, run_out)
        values = of.values(levels, [fault for fault in faults if fault.track == name])
        if values.tolist() != [1.0]:
            found.append((of, values))
    return _lines(found, used, open_strength_lines if live else strength_lines)


def _lines(
    found: Sequence[tuple[ToothStrengths, Floats]],
    used: int,
    make: Callable[[ToothStrengths, Floats, int, int], StrengthLines],
) -> tuple[StrengthLines, ...]:
    past, lines = MOST_TRACKS, []
    for left, (of, values) in zip(range(len(found), 0, -1), found, strict=True):
        most = min((past - used) // left, MOST_STRENGTH_BITS)
        if most < 1:
            raise UsageError(
                "Run-out and weak teeth of a voltage need an output of the board that nothing else "
                f"uses, and {used} of {MOST_TRACKS} are used. Take a wheel of fewer tracks, or "
                "leave 'run_out' and 'weak_signal' out."
            )
        lines.append(make(of, values, past, most))
        past = lines[-1].first
    return tuple(lines)


def strengthened(form: WaveForm, lines: StrengthLines) -> WaveForm:
    """The form whose peak is that of the strongest tooth, the others less by their strengths."""
    strongest = lines.strongest
    shares = tuple(round(FULL_STRENGTH * share / strongest) for share in lines.shares)
    peak = max(1, math.floor(form.peak * strongest))
    return replace(form, peak=peak, strengths=Strengths(lines.first, shares))

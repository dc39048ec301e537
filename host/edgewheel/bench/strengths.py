"""How strong the teeth of a bench's voltages are, and which outputs of the board tell it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Protocol

from edgewheel.edges.levels import LevelTable
from edgewheel.edges.phase import Floats
from edgewheel.errors import UsageError
from edgewheel.fault.model import VoltageFault
from edgewheel.fault.strength import RunOut, StrengthLines, ToothStrengths, strength_lines
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
    faults: Mapping[str, VoltageFault],
    used: int,
) -> tuple[StrengthLines, ...]:
    """The lines that tell how strong the teeth of voltages are, from the highest output down.

    `used` outputs, the lowest ones, carry something else. Raises UsageError if none is left.
    """
    found: list[tuple[ToothStrengths, Floats]] = []
    for sensed in levels.vr:
        voltage = voltages[sensed.track]
        if voltage is None:
            continue
        name = levels.tracks[sensed.track]
        weak = {key: fault for key, fault in faults.items() if fault.track == name}
        run_out = RunOut(float(voltage.run_out), voltage.closest_at)
        of = ToothStrengths(sensed.track, sensed.nears, run_out, weak)
        values = of.values(levels)
        if values.tolist() != [1.0]:
            found.append((of, values))
    return _lines(found, used)


def _lines(found: Sequence[tuple[ToothStrengths, Floats]], used: int) -> tuple[StrengthLines, ...]:
    past, lines = MOST_TRACKS, []
    for left, (of, values) in zip(range(len(found), 0, -1), found, strict=True):
        most = min((past - used) // left, MOST_STRENGTH_BITS)
        if most < 1:
            raise UsageError(
                "Run-out and weak teeth of a voltage need an output of the board that nothing else "
                f"uses, and {used} of {MOST_TRACKS} are used. Take a wheel of fewer tracks, or "
                "leave 'run_out' and 'weak_signal' out."
            )
        lines.append(strength_lines(of, values, past, most))
        past = lines[-1].first
    return tuple(lines)


def strengthened(form: WaveForm, lines: StrengthLines) -> WaveForm:
    """The form whose peak is that of the strongest tooth, the others less by their strengths."""
    strongest = lines.strongest
    shares = tuple(round(FULL_STRENGTH * share / strongest) for share in lines.shares)
    peak = max(1, math.floor(form.peak * strongest))
    return replace(form, peak=peak, strengths=Strengths(lines.first, shares))

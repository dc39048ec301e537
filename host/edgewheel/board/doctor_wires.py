"""The doctor's check of wires from outputs to inputs, by the pulses that went through them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from edgewheel.board.check import Check, Outcome, failed, passed
from edgewheel.board.loopback import Delay, Loop, PulseTable
from edgewheel.board.rounds import Play
from edgewheel.board.stage_store import KnownStage


@dataclass(frozen=True)
class Wire:
    """An output that is wired to an input; numbered from 0."""

    output: int
    input: int

    def __str__(self) -> str:
        return f"out{self.output + 1} to in{self.input + 1}"


def check_wires(play: Play, table: PulseTable, wanted: Sequence[Wire]) -> Check:
    """Which wires there are and how long an edge takes; those that are wanted must be there."""
    if play.missing:
        text = f"{play.missing} captured changes were lost on the way"
        remedy = "Is an input left open? Tie it to ground, then again: edgewheel doctor"
        return failed("loopback", text, remedy)
    loops = table.loops(play.ended.start_tick, play.ticks, play.levels)
    values = {"loops": [_data(loop) for loop in loops]}
    text = "; ".join(map(_words, loops)) or "no output is wired to an input"
    absent = [wire for wire in wanted if wire not in map(_wire, loops)]
    if absent:
        remedy = f"Wire {absent[0]}, with ground, then again: edgewheel doctor"
        return failed("loopback", f"no pulses from {absent[0]} ({text})", remedy, values)
    broken = [_wire(loop) for loop in loops if loop.missing or loop.extra]
    if broken:
        remedy = f"Look at the wire from {broken[0]}, its ground and pull-up: it is loose or noisy."
        return failed("loopback", text, remedy, values)
    if not loops:
        remedy = (
            "To measure the delay of a stage, wire an output through it to an input, then: "
            "edgewheel doctor --loop 1:1"
        )
        return Check("loopback", Outcome.SKIPPED, text, remedy, values)
    return passed("loopback", text, values)


def measured_stages(loops: Sequence[Loop], origin: str) -> dict[int, KnownStage]:
    """The stages between outputs and the lines they were looked at on, by output.

    A stage that inverts makes a fall of the pin a rise of the line.
    """
    found = {}
    for loop in loops:
        rise, fall = (loop.fall, loop.rise) if loop.inverts else (loop.rise, loop.fall)
        rise_us, fall_us = (Fraction(round(one.mean_s * 1e9), 1000) for one in (rise, fall))
        found[loop.output] = KnownStage(loop.inverts, rise_us, fall_us, origin)
    return found


def _wire(loop: Loop) -> Wire:
    return Wire(loop.output, loop.input)


def _words(loop: Loop) -> str:
    words = (
        f"{_wire(loop)}: a rise takes {_delay_words(loop.rise)}, a fall {_delay_words(loop.fall)}"
    )
    if loop.inverts:
        words += ", inverted"
    if loop.missing or loop.extra:
        words += f", {loop.missing} edges missing, {loop.extra} too many"
    return words


def _delay_words(delay: Delay) -> str:
    return f"{delay.mean_s * 1e6:.2f} us (scatter {delay.spread_s * 1e6:.2f} us)"


def _data(loop: Loop) -> dict[str, Any]:
    return {
        "output": loop.output + 1,
        "input": loop.input + 1,
        "inverts": loop.inverts,
        "rise": _times(loop.rise),
        "fall": _times(loop.fall),
        "missing": loop.missing,
        "extra": loop.extra,
    }


def _times(delay: Delay) -> dict[str, float]:
    return {
        "mean_us": round(delay.mean_s * 1e6, 4),
        "deviation_us": round(delay.deviation_s * 1e6, 4),
        "spread_us": round(delay.spread_s * 1e6, 4),
    }

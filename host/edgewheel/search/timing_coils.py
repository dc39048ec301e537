"""Coils that are out of step with the others, each with the correction to type."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from edgewheel.bench.timing.wiring import Misfit
from edgewheel.search.timing import RunTiming


def coil_sentences(runs: Sequence[RunTiming]) -> list[str]:
    """What stands wrong in the order of the coils, once for all runs that show the same."""
    return list(dict.fromkeys(text for run in runs for text in _sentences(run)))


def _sentences(run: RunTiming) -> Iterator[str]:
    others = [one for one in run.misfits if one.fires_for != one.declared]
    fires = {one.fires_for: one.declared for one in others}
    if others and set(fires) == {one.declared for one in others}:
        yield _order(run, others, [fires.get(cylinder, cylinder) for cylinder in run.firing_order])
    else:
        yield from (_wiring(one) for one in others)
    for one in run.misfits:
        if one.fires_for == one.declared:
            yield _own_angle(one)


def _order(run: RunTiming, others: Sequence[Misfit], fired: Sequence[int]) -> str:
    swaps = ", ".join(f"{one.line} fires for cylinder {one.fires_for}" for one in others)
    engine, controller = ("-".join(map(str, order)) for order in (run.firing_order, fired))
    return (
        f"FIRING ORDER: the engine's is {engine}, the controller fires {controller} ({swaps}). "
        f"Correction: set {engine}; if that is set, exchange the wires of these outputs, or what "
        "the bench file says of them. They are left out of all else."
    )


def _wiring(one: Misfit) -> str:
    fires = f"cylinder {one.fires_for}" if one.fires_for else "no cylinder at all"
    return (
        f"WRONG CYLINDER: {one.line} is declared for cylinder {one.declared} but fires for "
        f"{fires}. Check the number of cylinders, firing order, output assignment and wiring. It "
        "is left out of all else."
    )


def _own_angle(one: Misfit) -> str:
    way = "earlier" if one.early_deg > 0 else "later"
    return (
        f"ANGLE OF ONE CYLINDER: {one.line} fires {abs(one.early_deg):.2f} degrees {way} than the "
        f"others. Correction: add {one.early_deg:+.2f} to the angle from cylinder 1's TDC to "
        f"cylinder {one.declared}'s; if there is no such setting, check the number of cylinders. "
        "It is left out of all else."
    )

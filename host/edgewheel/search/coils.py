"""What the coils tell by themselves, without another signal: order, single angles, silence."""

from __future__ import annotations

from collections.abc import Mapping

from edgewheel.bench.truth import signed_deg
from edgewheel.search.look import ANGLE_ERROR_DEG, Look
from edgewheel.search.suspects import Finding

Degrees = Mapping[int, float]
Served = Mapping[str, int]

BOTH_TURNS = Finding(
    ("way of telling the turns apart",),
    "Let the controller use the cam: each coil fires in both turns of the cycle.",
)


def silent_coils(look: Look) -> Finding | None:
    """The coils that never fire, where others, or sync and speed, say that they should."""
    if not look.silent:
        return None
    return Finding(
        ("spark output",),
        f"No spark comes on {', '.join(look.silent)}: look at the wire to the board's input, at "
        "what the output is set for, and at the speeds from and up to which the controller fires.",
    )


def offset_of(tdc: Degrees, errors: Mapping[str, float], served: Served) -> float | None:
    """The least error in degrees that all coils share, if each fires for one cylinder of its own.

    That need not be the cylinder which it serves: then the firing order is wrong. None if there is
    no such error.
    """
    if not errors or errors.keys() - served.keys():
        return None
    first, error = next(iter(errors.items()))
    own = tdc[served[first]] + error
    offsets = sorted((signed_deg(own - deg) for deg in tdc.values()), key=abs)
    for offset in offsets:
        fired = _fired(tdc, errors, served, offset)
        if len(set(fired.values())) == len(errors):
            return offset
    return None


def firing_order(
    tdc: Degrees, errors: Mapping[str, float], served: Served, offset_deg: float = 0.0
) -> Finding | None:
    """The finding if all coils fire for some cylinder, `offset_deg` late, not each for its own."""
    fired = _fired(tdc, errors, served, offset_deg)
    if len(set(fired.values())) < len(errors) or all(own == at for own, at in fired.items()):
        return None
    wrong = ", ".join(
        f"cylinder {own}'s coil fires for cylinder {at}" for own, at in fired.items() if own != at
    )
    return Finding(("firing order",), f"Correct the firing order: {wrong}.")


def single_angles(errors: Mapping[str, float]) -> Finding:
    """Coils that stand wrong by amounts of their own."""
    wrong = ", ".join(
        f"{name} is {abs(error):.1f} degrees {'late' if error > 0 else 'early'}"
        for name, error in errors.items()
        if abs(error) > ANGLE_ERROR_DEG
    )
    return Finding(
        ("firing angles of single cylinders", "number of cylinders"),
        f"The coils are not wrong alike: {wrong}.",
    )


def _fired(
    tdc: Degrees, errors: Mapping[str, float], served: Served, offset_deg: float
) -> dict[int, int]:
    """The cylinder that each coil, by the one it serves, fires for; left out where for none."""
    fired = {}
    for name, error in errors.items():
        own = served[name]
        at = tdc[own] + error - offset_deg
        near = [c for c, deg in tdc.items() if abs(signed_deg(at - deg)) <= ANGLE_ERROR_DEG]
        if len(near) == 1:
            fired[own] = near[0]
    return fired

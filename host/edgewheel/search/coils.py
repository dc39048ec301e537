"""What the coils tell by themselves, without another signal: order, single angles, silence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from edgewheel.bench.plan import Plan
from edgewheel.bench.truth import signed_deg
from edgewheel.search.look import ANGLE_ERROR_DEG, Look
from edgewheel.search.suspects import Finding

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


@dataclass(frozen=True)
class Coils:
    """Where the cylinders fire, crank degrees by cylinder once in `period_deg`, and which of them
    each coil with a single one serves.
    """

    tdc: Mapping[int, float]
    served: Mapping[str, int]
    period_deg: int

    def offset_of(self, errors: Mapping[str, float]) -> float | None:
        """The least error in degrees that all coils share, if each fires for one cylinder of its
        own.

        That need not be the cylinder which it serves: then the firing order is wrong. None if there
        is no such error.
        """
        if not errors or errors.keys() - self.served.keys():
            return None
        first, error = next(iter(errors.items()))
        own = self.tdc[self.served[first]] + error
        offsets = sorted((self._signed(own - deg) for deg in self.tdc.values()), key=abs)
        for offset in offsets:
            if len(set(self._fired(errors, offset).values())) == len(errors):
                return offset
        return None

    def firing_order(self, errors: Mapping[str, float], offset_deg: float) -> Finding | None:
        """The finding if all coils fire for cylinders, `offset_deg` late, but not for their own."""
        fired = self._fired(errors, offset_deg)
        if len(set(fired.values())) < len(errors) or all(own == at for own, at in fired.items()):
            return None
        wrong = ", ".join(
            f"cylinder {own}'s coil fires for cylinder {at}"
            for own, at in fired.items()
            if own != at
        )
        return Finding(("firing order",), f"Correct the firing order: {wrong}.")

    def _fired(self, errors: Mapping[str, float], offset_deg: float) -> dict[int, int]:
        """The cylinder that each coil, by the one it serves, fires for; left out where for none."""
        fired = {}
        for name, error in errors.items():
            own = self.served[name]
            at = self.tdc[own] + error - offset_deg
            away = {cylinder: abs(self._signed(at - deg)) for cylinder, deg in self.tdc.items()}
            near = [cylinder for cylinder, deg in away.items() if deg <= ANGLE_ERROR_DEG]
            if len(near) == 1:
                fired[own] = near[0]
        return fired

    def _signed(self, deg: float) -> float:
        return signed_deg(deg, self.period_deg)


def coils_of(plan: Plan) -> Coils:
    """What the bench file says of them."""
    sparks = plan.signals.sparks
    served = {name: line.cylinders[0] for name, line in sparks.items() if len(line.cylinders) == 1}
    tdc = {cylinder: float(deg) for cylinder, deg in plan.wheel.tdc}
    return Coils(tdc, served, plan.wheel.signal_period)


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

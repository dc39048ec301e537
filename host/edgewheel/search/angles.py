"""When sync and speed are right and the sparks are not: which setting puts them where they are."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from enum import StrEnum
from fractions import Fraction

from edgewheel.bench.truth import signed_deg
from edgewheel.search.look import ANGLE_ERROR_DEG, Look
from edgewheel.search.suspects import Change, Doubt, Finding, Scene
from edgewheel.search.variant import USUAL_RPM, Variant

FASTER = 2
LEAST_CUT_DEG = 0.4
"""By which teeth must end earlier for the sparks to show it."""

FILTERED = 0.8
"""Of the sparks' delay: teeth that last less are swallowed by a filter that delays so much."""


class Timed(StrEnum):
    """By which part of a crank tooth the controller times."""

    BEGIN = "its beginning"
    END = "its end"
    FILTERED = "nothing: narrow teeth are swallowed"
    UNKNOWN = "unknown"


TOO_LONG_FILTER = Finding(
    ("crank filter",),
    "Shorten the crank's noise filter: it swallows teeth, and makes the sparks late by its time.",
)


def narrowed(scene: Scene, look: Look, variant: Variant) -> Variant | None:
    """The signal with crank teeth that end earlier, and last less than the sparks are late.

    If sparks come earlier with them, the controller times by the tooth's end; if sync is lost, its
    noise filter has swallowed them. None where this tells nothing: a VR sensor's crossing is in the
    middle of its tooth.
    """
    if not (scene.hall and scene.pattern.regular) or variant.width is not None:
        return None
    if look.common_deg is None or abs(signed_deg(look.common_deg, 360)) <= ANGLE_ERROR_DEG:
        return None
    late_deg = signed_deg(look.common_deg, 360)
    width_deg = float(scene.pattern.width_deg) / 2
    if ANGLE_ERROR_DEG < late_deg < 2 * width_deg:
        width_deg = min(width_deg, FILTERED * late_deg)
    if float(scene.pattern.width_deg) - width_deg < LEAST_CUT_DEG:
        return None
    share = Fraction(round(width_deg / float(scene.pattern.pitch_deg) * 100), 100)
    return replace(variant, width=share)


def told_by_narrowed(scene: Scene, before: Look, narrow: Look, variant: Variant) -> Timed:
    """What narrowed teeth have shown."""
    if narrow.stage < before.stage or narrow.common_deg is None or before.common_deg is None:
        return Timed.FILTERED
    assert variant.width is not None
    cut_deg = float(scene.pattern.width_deg - variant.width * scene.pattern.pitch_deg)
    moved_deg = signed_deg(before.common_deg - narrow.common_deg, 360)
    return Timed.END if abs(moved_deg - cut_deg) <= cut_deg / 2 else Timed.BEGIN


def angle_changes(scene: Scene, look: Look, variant: Variant, timed: Timed) -> Iterator[Change]:
    """Changes that would put the sparks right, the likeliest first."""
    if look.worst_deg > 180 and scene.cam is not None:
        yield from _other_turn(scene.cam)
    common = look.common_deg
    if common is None:
        return
    within = signed_deg(common, 360)
    if timed is Timed.END:
        yield Change(
            "the crank signal turned over",
            lambda old: old.turn_over(scene.crank),
            Finding(
                ("crank edge or polarity",),
                "Change the crank's edge or polarity: the controller times by where a tooth ends, "
                f"{float(scene.pattern.width_deg):g} degrees after it begins. (If it is meant to, "
                "correct the reference angle by as much.)",
            ),
        )
    if abs(within) > ANGLE_ERROR_DEG:
        yield _reference(within, variant)


def _other_turn(cam: str) -> Iterator[Change]:
    finding = Finding(
        ("cam edge or polarity",),
        "Change the cam's polarity, or the level that is wanted at the reference: the controller "
        "takes the first turn of the cycle for the second.",
    )
    yield Change("the cam signal turned over", lambda variant: variant.turn_over(cam), finding)
    yield Change(
        "the cam 360 degrees later",
        lambda variant: replace(variant, cam_later_deg=variant.cam_later_deg + 360),
        Finding(
            ("cam window", "turn of the cycle"),
            "Let the cam's edge stand for the other turn of the cycle, or change the reference "
            "angle by 360: all is 360 degrees out.",
        ),
    )


def _reference(error_deg: float, variant: Variant) -> Change:
    """All tracks turned against top dead centre; at another speed an angle stays, a time does not.

    A spark that is late by e comes right when the signal comes e earlier than its angle says.
    """
    turned = Fraction(round(-error_deg * 10), 10)
    rpm = variant.rpm or USUAL_RPM
    angle = Finding(
        ("reference angle",),
        f"Change the reference angle so that all sparks come {abs(error_deg):.1f} crank degrees "
        f"{'earlier' if error_deg > 0 else 'later'}.",
    )
    time = Finding(
        ("spark output",),
        f"The sparks are {abs(error_deg) / (6 * rpm) * 1e3:.2f} ms {_way(error_deg)} at any speed: "
        "look at the output's active level (a coil that fires where it should begin to charge is "
        "early by its dwell) and at its delay.",
    )
    return Change(
        f"all sensors {abs(float(turned)):g} degrees {'later' if turned > 0 else 'earlier'}",
        lambda old: replace(old, all_later_deg=old.all_later_deg + turned),
        angle,
        doubt=Doubt(
            f"the same at {FASTER * rpm} rpm",
            lambda _, after: replace(after, rpm=FASTER * after.rpm),
            angle,
            time,
        ),
    )


def firing_order(
    tdc: Mapping[int, float], errors: Mapping[str, float], served: Mapping[str, int]
) -> Finding | None:
    """The finding if every coil fires exactly for some cylinder, but not each for its own."""
    fired = {}
    for name, error in errors.items():
        own = served[name]
        at = tdc[own] + error
        near = [c for c, deg in tdc.items() if abs(signed_deg(at - deg)) <= ANGLE_ERROR_DEG]
        if len(near) != 1:
            return None
        fired[own] = near[0]
    if len(set(fired.values())) < len(fired) or all(a == b for a, b in fired.items()):
        return None
    wrong = ", ".join(
        f"cylinder {own}'s coil fires for cylinder {at}" for own, at in fired.items() if own != at
    )
    return Finding(("firing order",), f"Correct the firing order: {wrong}.")


def _way(error_deg: float) -> str:
    return "late" if error_deg > 0 else "early"

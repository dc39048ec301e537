"""When sync and speed are right and the sparks are not: which setting puts them where they are."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from enum import StrEnum
from fractions import Fraction

from edgewheel.bench.truth import signed_deg
from edgewheel.motion.segment import DEG_PER_S_PER_RPM
from edgewheel.search.look import ANGLE_ERROR_DEG, Look, Stage
from edgewheel.search.other_kinds import even_wheel
from edgewheel.search.suspects import Change, Doubt, Finding, Scene
from edgewheel.search.variant import Variant

FASTER = 2
HALF_A_TURN_DEG = 180 + ANGLE_ERROR_DEG
"""Sparks further off than this are in the other turn of the cycle."""

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
    common = look.common_deg
    if common is None:
        yield from even_wheel(scene.pattern)
    if look.worst_deg > HALF_A_TURN_DEG and scene.cam is not None:
        yield from _other_turn(scene.cam)
    if common is None:
        return
    within = common if abs(common) <= HALF_A_TURN_DEG else signed_deg(common, 360)
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
    return Change(
        f"all sensors {abs(float(turned)):g} degrees {'later' if turned > 0 else 'earlier'}",
        lambda old: replace(old, all_later_deg=old.all_later_deg + turned),
        REFERENCE,
        doubt=Doubt(
            f"the same at {FASTER * variant.rpm} rpm",
            lambda _, after: faster(after),
            lambda _, again: angle_or_time(error_deg, left_deg(again), variant.rpm),
        ),
    )


def left_deg(look: Look) -> float | None:
    """The error that all sparks still share, None where nothing can be said of it."""
    return look.common_deg if look.stage >= Stage.TURNS and look.errors_deg else None


def faster(variant: Variant) -> Variant:
    """The same at another speed, which tells an angle from a time."""
    return replace(variant, rpm=FASTER * variant.rpm)


def angle_or_time(error_deg: float, more_deg: float | None, rpm: int) -> tuple[Finding, ...]:
    """What makes sparks `error_deg` late at a speed and `more_deg` later still at twice that.

    An angle adds nothing at twice the speed, a time as much again. None: sync was lost there.
    """
    growth = error_deg if more_deg is None else signed_deg(more_deg, 360)
    angle_deg = error_deg - growth
    if abs(growth) <= ANGLE_ERROR_DEG:
        return (_angle(error_deg),)
    if abs(angle_deg) <= ANGLE_ERROR_DEG:
        return (_time(error_deg, rpm),)
    return (_angle(angle_deg), _time(growth, rpm))


REFERENCE = Finding(("reference angle",), "Change the reference angle.")


def _angle(late_deg: float) -> Finding:
    return Finding(
        REFERENCE.settings,
        f"Change the reference angle so that all sparks come {abs(late_deg):.1f} crank degrees "
        f"{'earlier' if late_deg > 0 else 'later'}.",
    )


def _time(late_deg: float, rpm: int) -> Finding:
    late_ms = abs(late_deg) / (DEG_PER_S_PER_RPM * rpm) * 1e3
    return Finding(
        ("spark output",),
        f"The sparks are {late_ms:.2f} ms {_way(late_deg)} at any speed: "
        "look at the output's active level (a coil that fires where it should begin to charge is "
        "early by its dwell) and at its delay.",
    )


def _way(error_deg: float) -> str:
    return "late" if error_deg > 0 else "early"

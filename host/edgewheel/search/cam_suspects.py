"""When the crank is known and the phase is not: what the cam input may be set for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from edgewheel.search.suspects import (
    SLOW_RPM,
    Change,
    Finding,
    Scene,
    at_speed,
    no_faults,
    numbers_in,
)

HALF_MOON = ((Fraction(20), Fraction(200)),)
CAM_STEP_DEG = 30
MOST_EDGES = 12


def cam_changes(scene: Scene, reason: str) -> list[Change]:
    """The changes to try, the likeliest first."""
    if scene.cam is None:
        return []
    cam = scene.cam
    flip = Change(
        "the cam signal turned over",
        lambda variant: variant.turn_over(cam),
        Finding(
            ("cam edge or polarity",),
            "Change the cam's edge or polarity in the controller. (Where it looks for an edge in a "
            "window, moving the window by the width of the cam's tooth does the same.)",
        ),
    )
    told = _told_window(reason)
    first = [flip, *told] if _is_a_cam_width(scene, reason) else [*told, flip]
    return [*no_faults(scene), *first, *_slowly(scene), *_cam_kinds(scene, reason), *_cam_turns()]


def _slowly(scene: Scene) -> Iterator[Change]:
    if scene.rpm > SLOW_RPM:
        yield at_speed(
            SLOW_RPM,
            Finding(
                ("cam filter",),
                "Shorten the cam's noise filter: a tooth must last longer than it, and it makes "
                "the edge late.",
            ),
        )


def _window_finding(later_deg: Fraction) -> Finding:
    way = "earlier" if later_deg > 0 else "later"
    return Finding(
        ("cam window",),
        f"Move the cam window about {abs(float(later_deg)):g} crank degrees {way}: it takes the "
        "cam's edge only when that comes so much otherwise.",
    )


def _turned_cam(later_deg: Fraction, words: str = "") -> Change:
    way = "later" if later_deg > 0 else "earlier"
    return Change(
        f"the cam {abs(float(later_deg)):g} degrees {way}",
        lambda variant: replace(variant, cam_later_deg=variant.cam_later_deg + later_deg),
        _window_finding(later_deg),
        words,
    )


def _told_window(reason: str) -> list[Change]:
    """If the controller says where the edge came and where it wanted it: put it there."""
    later_deg = _told_shift(reason)
    return [] if later_deg is None else [_turned_cam(later_deg)]


def _told_shift(reason: str) -> Fraction | None:
    numbers = numbers_in(reason)
    if "cam" not in reason or len(numbers) != 3:
        return None
    at, low, high = numbers
    return Fraction(round((low + high) / 2 - at))


def _is_a_cam_width(scene: Scene, reason: str) -> bool:
    """Whether the cam's edge comes a tooth's width from its window, as the wrong edge would."""
    later_deg = _told_shift(reason)
    crank_deg = 2 if scene.cam_shaft else 1
    return later_deg is not None and any(
        abs(abs(later_deg) - crank_deg * (end - begin)) <= 3 for begin, end in scene.cam_teeth
    )


def _cam_kinds(scene: Scene, reason: str) -> Iterator[Change]:
    phase = ("way of telling the turns apart",)
    if scene.cam_shaft and max((b - a for a, b in scene.cam_teeth), default=0) < 90:
        yield Change(
            "a half-moon on the cam instead of its own teeth",
            lambda variant: replace(variant, cam_teeth=HALF_MOON),
            Finding(phase, "Let the controller look for the cam's edge, not for its level."),
        )
    if scene.cam_shaft:
        for one, other in _told_counts(reason):
            yield Change(
                f"{one} teeth on the cam in one turn of the crank and {other} in the next",
                lambda variant, one=one, other=other: replace(  # type: ignore[misc]
                    variant, cam_teeth=_teeth(scene, one, 0) + _teeth(scene, other, 180)
                ),
                Finding(
                    phase,
                    f"The controller counts {one} and {other} cam edges in the two turns; this cam "
                    f"has {len(scene.cam_teeth)} in both together.",
                ),
            )


def _told_counts(reason: str) -> list[tuple[int, int]]:
    """If the controller says how many edges it wants in the two turns: these, both ways round."""
    numbers = [int(number) for number in numbers_in(reason)]
    if "edges in a turn" not in reason or len(numbers) != 3 or max(numbers) > MOST_EDGES:
        return [(2, 0), (3, 0)] if "edges in a turn" in reason else []
    one, other = numbers[1:]
    return [(one, other), (other, one)]


def _teeth(scene: Scene, count: int, from_deg: int) -> tuple[tuple[Fraction, Fraction], ...]:
    """Teeth of the cam within a turn of the crank, which is half a turn of the cam."""
    begin = scene.pattern.reference_deg / 2 + from_deg
    step = Fraction(180, count + 1) if count else Fraction(0)
    return tuple((begin + k * step, begin + k * step + step / 3) for k in range(1, count + 1))


def _cam_turns() -> Iterator[Change]:
    for step in (1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6):
        yield _turned_cam(Fraction(step * CAM_STEP_DEG))

"""Which change of the signal would show which wrong setting, the likeliest first.

A change that helps does so because the signal now suits the setting; so it names the setting.
Where two settings would be helped by one change, a second try tells them apart. What the controller
says of itself may move a change up in the order; it decides nothing.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from edgewheel.search.look import Look, Stage
from edgewheel.search.variant import USUAL_RPM, CrankPattern, Variant

Apply = Callable[[Variant], Variant]

USUAL_WHEELS = (
    (60, 2), (36, 1), (36, 2), (24, 1), (12, 1), (24, 2), (48, 2), (30, 2), (30, 1), (32, 2),
    (12, 2), (60, 1), (60, 3), (90, 3), (120, 2), (8, 1), (4, 1), (16, 2), (18, 1), (35, 1),
)  # fmt: skip
"""Pitches and missing teeth that are met; common practice, no source."""

HALF_MOON = ((Fraction(20), Fraction(200)),)
CAM_STEP_DEG = 30
SLOW_RPM, FAST_RPM = 250, 3000


@dataclass(frozen=True)
class Finding:
    """A wrong setting, by what it is called in any controller, and what to do about it."""

    settings: tuple[str, ...]
    remedy: str


@dataclass(frozen=True)
class Doubt:
    """A second try that tells two settings apart.

    `apply` is given the signals before and after the change that helped. If the controller comes as
    far with it, `held` is the finding, else `lost`.
    """

    what: str
    apply: Callable[[Variant, Variant], Variant]
    held: Finding
    lost: Finding


@dataclass(frozen=True)
class Change:
    """One change of the signal; `words` in what the controller says move it up."""

    what: str
    apply: Apply
    finding: Finding
    words: str = ""
    doubt: Doubt | None = None
    alone: bool = False
    """Not to be tried together with another: too many wheels fit something."""


@dataclass(frozen=True)
class Scene:
    """What is known of the engine: its crank track's and cam track's names, and the pattern."""

    crank: str
    cam: str | None
    pattern: CrankPattern
    has_faults: bool
    cam_teeth: tuple[tuple[Fraction, Fraction], ...] = ()
    cam_shaft: bool = True
    hall: bool = True


def by_hint(changes: Sequence[Change], reason: str) -> list[Change]:
    """Those first whose words the controller says; otherwise in their own order."""
    return sorted(changes, key=lambda change: not _spoken(change.words, reason))


def _spoken(words: str, reason: str) -> bool:
    return bool(words) and re.search(words, reason) is not None


def numbers_in(reason: str) -> list[float]:
    """The numbers that a controller's reason names, in order."""
    return [float(number) for number in re.findall(r"-?\d+(?:\.\d+)?", reason)]


def crank_changes(scene: Scene, look: Look) -> list[Change]:
    """When the controller knows nothing: what its crank input may be set for."""
    reason = look.reason
    changes = [
        *_shaft(look),
        *_no_faults(scene),
        *_gap_changes(scene.pattern),
        *_both_edges(scene.pattern),
        _turned_over_crank(scene),
        *_speeds(),
        *_exchanged(scene),
        *_wheels(scene.pattern, reason),
    ]
    return by_hint(changes, reason)


def cam_changes(scene: Scene, reason: str) -> list[Change]:
    """When the crank is known and the phase is not: what the cam input may be set for."""
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
    return [*_no_faults(scene), *first, *_cam_kinds(scene), *_cam_turns()]


def _no_faults(scene: Scene) -> Iterator[Change]:
    if scene.has_faults:
        yield Change(
            "without the bench file's faults",
            lambda variant: replace(variant, faults=False),
            Finding(
                ("input filter or blanking",),
                "The controller syncs with a sound signal: mend what the faults stand for, or "
                "filter and blank longer, or allow more errors.",
            ),
            ".",
        )


LIMITS = Finding(
    ("gap-ratio limits",),
    "Set the limits for the gap so that this wheel's ratio lies well between them.",
)
BLANKING = Finding(
    ("crank blanking",),
    "Shorten the crank blanking: after the gap it hides the next tooth. It must stay below "
    "one tooth period over the gap's.",
)


NO_GAP = "no gap in"
BLANKED = "no gap in|gap after"
RELATIVE_GAPS = (Fraction(5, 4), Fraction(4, 5), Fraction(3, 5), Fraction(11, 6))
SHORTER = RELATIVE_GAPS[1]


def _shaft(look: Look) -> Iterator[Change]:
    """It takes the crank's teeth for a cam's: at twice the speed, and in sync."""
    if look.stage is Stage.CLAIMS and look.speed_ratio and abs(look.speed_ratio - 2) < 0.1:
        yield Change(
            "the crank's teeth spread over two turns",
            lambda variant: replace(variant, half_speed=True),
            Finding(
                ("shaft of the wheel",),
                "The controller takes the wheel to be on the cam: set it to the crank.",
            ),
            ".",
        )


def _gap_changes(pattern: CrankPattern) -> Iterator[Change]:
    if not (pattern.regular and pattern.missing):
        return
    own = pattern.missing + 1
    late = Change(
        "the second tooth after the gap 40 % of a pitch late",
        lambda variant: replace(variant, second_later=Fraction(2, 5)),
        BLANKING,
        BLANKED,
    )
    for relative in RELATIVE_GAPS:
        ratio, doubt = relative * own, None
        if relative == SHORTER:
            doubt = Doubt(late.what, lambda before, _: late.apply(before), BLANKING, LIMITS)
        yield Change(
            f"the gap {float(ratio):g} times as long as the period before it",
            lambda variant, ratio=ratio: replace(variant, gap_ratio=ratio),  # type: ignore[misc]
            LIMITS,
            NO_GAP,
            doubt,
        )
    yield Change(
        "a shorter gap, and the second tooth after it late",
        lambda variant: replace(variant, gap_ratio=SHORTER * own, second_later=Fraction(3, 10)),
        BLANKING,
        BLANKED,
    )


def _both_edges(pattern: CrankPattern) -> Iterator[Change]:
    if pattern.pitches % 2 or pattern.missing % 2 or not pattern.missing or not pattern.regular:
        return
    pitches, missing = pattern.pitches // 2, pattern.missing // 2
    both = Finding(("crank edge",), "Set the crank input to one edge: it takes both.")
    yield Change(
        f"{pitches} pitches with {missing} missing, so half as many teeth",
        lambda variant: replace(variant, pitches=pitches, missing=missing, width=Fraction(1, 2)),
        both,
        NO_GAP,
        Doubt(
            "the same with narrow teeth",
            lambda _, after: replace(after, width=Fraction(1, 4)),
            _wheel_finding(pattern, pitches, missing),
            both,
        ),
    )


def _turned_over_crank(scene: Scene) -> Change:
    return Change(
        "the crank signal turned over",
        lambda variant: variant.turn_over(scene.crank),
        Finding(("crank edge or polarity",), "Change the crank's edge or polarity."),
        alone=scene.pattern.regular,
    )


def _speeds() -> Iterator[Change]:
    narrow = Fraction(SLOW_RPM, 2 * USUAL_RPM)
    blanking = Finding(("crank blanking",), "Shorten the crank blanking: it hides whole teeth.")
    yield Change(
        f"at {SLOW_RPM} rpm",
        lambda variant: replace(variant, rpm=SLOW_RPM),
        blanking,
        "no teeth|none",
        Doubt(
            f"at {SLOW_RPM} rpm with teeth as short as they were at {USUAL_RPM}",
            lambda _, after: replace(after, width=narrow),
            blanking,
            Finding(
                ("crank filter",),
                "Shorten the crank's noise filter: a tooth must last longer than it.",
            ),
        ),
    )
    yield Change(
        f"at {FAST_RPM} rpm",
        lambda variant: replace(variant, rpm=FAST_RPM),
        Finding(
            ("stall time-out",),
            "Lengthen the time without teeth after which the controller takes the engine for "
            "stopped: the gap must fit in at cranking speed.",
        ),
        "no teeth|stall",
    )


def _exchanged(scene: Scene) -> Iterator[Change]:
    if scene.cam is not None:
        yield Change(
            "the crank's and the cam's wires exchanged",
            lambda variant: replace(variant, exchanged=True),
            Finding(
                ("assignment of the inputs",),
                "Exchange the crank and the cam input, in the settings or at the plug.",
            ),
        )


def _wheels(pattern: CrankPattern, reason: str) -> Iterator[Change]:
    """Other wheels; those first whose counts the controller names."""
    if not pattern.regular:
        return
    named = {int(number) for number in numbers_in(reason) if number == int(number)}
    guesses = [(count + m, m) for count in sorted(named) for m in (1, 2, 3) if 2 < count < 400]
    usual = [*USUAL_WHEELS, *guesses]
    own = (pattern.pitches, pattern.missing)
    named.discard(own[0] - own[1])
    wheels = [wheel for wheel in dict.fromkeys(usual) if wheel != own]
    wheels.sort(key=lambda wheel: wheel[0] - wheel[1] not in named)
    for pitches, missing in wheels:
        told = pitches - missing in named
        yield Change(
            f"{pitches} pitches with {missing} missing",
            lambda variant, pitches=pitches, missing=missing: replace(  # type: ignore[misc]
                variant, pitches=pitches, missing=missing
            ),
            _wheel_finding(pattern, pitches, missing),
            r"gap after|of \d" if told else "",
            alone=not told,
        )


def _wheel_finding(pattern: CrankPattern, pitches: int, missing: int) -> Finding:
    settings = []
    if pitches != pattern.pitches:
        settings.append("teeth a turn")
    if missing != pattern.missing:
        settings.append("missing teeth")
    return Finding(
        tuple(settings),
        f"The controller is set for {pitches} pitches with {missing} missing; this wheel has "
        f"{pattern.pitches} with {pattern.missing} missing.",
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


def _cam_kinds(scene: Scene) -> Iterator[Change]:
    phase = ("way of telling the turns apart",)
    if scene.cam_shaft and max((b - a for a, b in scene.cam_teeth), default=0) < 90:
        yield Change(
            "a half-moon on the cam instead of its own teeth",
            lambda variant: replace(variant, cam_teeth=HALF_MOON),
            Finding(phase, "Let the controller look for the cam's edge, not for its level."),
        )
    if scene.cam_shaft:
        for count in (2, 3):
            yield Change(
                f"{count} teeth on the cam within one turn of the crank",
                lambda variant, count=count: replace(  # type: ignore[misc]
                    variant,
                    cam_teeth=tuple(
                        (Fraction(20 + 40 * k), Fraction(30 + 40 * k)) for k in range(count)
                    ),
                ),
                Finding(phase, f"The controller counts {count} cam edges; this cam has fewer."),
                "edges in a turn",
            )


def _cam_turns() -> Iterator[Change]:
    for step in (1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6):
        yield _turned_cam(Fraction(step * CAM_STEP_DEG))

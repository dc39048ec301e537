"""When the controller knows nothing: what its crank input may be set for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from edgewheel.search.look import Look, Stage
from edgewheel.search.suspects import Change, Doubt, Finding, Scene, by_hint, no_faults, numbers_in
from edgewheel.search.variant import CrankPattern

USUAL_WHEELS = (
    (60, 2), (36, 1), (36, 2), (24, 1), (12, 1), (24, 2), (48, 2), (30, 2), (30, 1), (32, 2),
    (12, 2), (60, 1), (60, 3), (90, 3), (120, 2), (8, 1), (4, 1), (16, 2), (18, 1), (35, 1),
)  # fmt: skip
"""Pitches and missing teeth that are met; common practice, no source."""

SLOW_RPM, FAST_RPM = 250, 3000


def crank_changes(scene: Scene, look: Look) -> list[Change]:
    """The changes to try, the likeliest first."""
    reason = look.reason
    changes = [
        *_shaft(look),
        *no_faults(scene),
        *_gap_changes(scene.pattern),
        *_both_edges(scene.pattern),
        _turned_over_crank(scene),
        *_speeds(scene),
        *_exchanged(scene),
        *_wheels(scene.pattern, reason),
    ]
    return by_hint(changes, reason)


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


def _speeds(scene: Scene) -> Iterator[Change]:
    if scene.rpm > SLOW_RPM:
        yield _slowly(scene.rpm)
    if scene.rpm < FAST_RPM:
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


def _slowly(usual_rpm: int) -> Change:
    narrow = Fraction(SLOW_RPM, 2 * usual_rpm)
    blanking = Finding(("crank blanking",), "Shorten the crank blanking: it hides whole teeth.")
    return Change(
        f"at {SLOW_RPM} rpm",
        lambda variant: replace(variant, rpm=SLOW_RPM),
        blanking,
        "no teeth|none",
        Doubt(
            f"at {SLOW_RPM} rpm with teeth as short as they were at {usual_rpm}",
            lambda _, after: replace(after, width=narrow),
            blanking,
            Finding(
                ("crank filter",),
                "Shorten the crank's noise filter: a tooth must last longer than it.",
            ),
        ),
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

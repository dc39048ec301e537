"""When the controller knows nothing: what its crank input may be set for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from edgewheel.search.look import Look, Stage
from edgewheel.search.other_kinds import other_kinds
from edgewheel.search.suspects import (
    FAST_RPM,
    SLOW_RPM,
    Change,
    Doubt,
    Finding,
    Scene,
    at_speed,
    by_hint,
    either,
    no_faults,
    numbers_in,
)
from edgewheel.search.variant import CrankPattern, Variant, eased

USUAL_WHEELS = (
    (60, 2), (36, 1), (36, 2), (24, 1), (12, 1), (24, 2), (48, 2), (30, 2), (30, 1), (32, 2),
    (12, 2), (60, 1), (60, 3), (90, 3), (120, 2), (8, 1), (4, 1), (16, 2), (18, 1), (35, 1),
)  # fmt: skip
"""Pitches and missing teeth that are met; common practice, no source."""


def crank_changes(scene: Scene, look: Look) -> list[Change]:
    """The changes to try, the likeliest first."""
    reason = look.reason
    changes = [
        *_shaft(look),
        *no_faults(scene),
        *_stronger(scene),
        *_gap_changes(scene.pattern),
        *_both_edges(scene.pattern),
        _turned_over_crank(scene),
        *_speeds(scene),
        *_exchanged(scene),
        *other_kinds(scene.pattern, look),
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
BLANKED_SHARES = (Fraction(1, 2), Fraction(2, 3), Fraction(17, 20))
"""Of a period: blanking up to here lets through what never gets shorter by more at once."""

STRONGER = 8


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
    begins = [k * pattern.pitch_deg for k in range(pattern.pitches - pattern.missing)]
    fitting = [share for share in BLANKED_SHARES if eased(begins, share)[-1] == begins[-1]]
    blanked = [_blanked(share) for share in fitting]
    doubt = _easing(blanked[0]) if blanked else None
    for relative in RELATIVE_GAPS:
        ratio = relative * own
        yield Change(
            f"the gap {float(ratio):.3g} times as long as the period before it",
            lambda variant, ratio=ratio: replace(variant, gap_ratio=ratio),  # type: ignore[misc]
            LIMITS,
            NO_GAP,
            doubt if relative == SHORTER else None,
        )
    yield from blanked


def _easing(blanked: Change) -> Doubt:
    """Whether the own gap will do where only blanking is eased."""
    return Doubt(blanked.what, lambda before, _: blanked.apply(before), either(BLANKING, LIMITS))


def _blanked(share: Fraction) -> Change:
    return Change(
        f"no period below {float(share):.0%} of the one before, gap and all".replace("%", " %"),
        lambda variant: replace(variant, least_ratio=share),
        BLANKING,
        BLANKED,
    )


def _stronger(scene: Scene) -> Iterator[Change]:
    if scene.strength:
        yield Change(
            f"the crank's signal {STRONGER} times as strong",
            lambda variant: replace(variant, strength=STRONGER),
            Finding(
                ("crank threshold",),
                f"Lower the threshold of the crank input at {scene.rpm} rpm: with a signal "
                f"{STRONGER} times as strong it sees the teeth.",
            ),
        )


BOTH_EDGES = Finding(("crank edge",), "Set the crank input to one edge: it takes both.")


def _both_edges(pattern: CrankPattern) -> Iterator[Change]:
    if not (pattern.missing and pattern.regular):
        return
    if pattern.pitches % 2 or pattern.missing % 2:
        yield Change(
            "an edge, up or down in turn, where each tooth begins",
            lambda variant: replace(variant, alternating=True),
            BOTH_EDGES,
            NO_GAP,
        )
        return
    pitches, missing = pattern.pitches // 2, pattern.missing // 2
    yield Change(
        f"{pitches} pitches with {missing} missing, so half as many teeth",
        lambda variant: replace(variant, pitches=pitches, missing=missing, width=Fraction(1, 2)),
        BOTH_EDGES,
        NO_GAP,
        Doubt(
            "the same with narrow teeth",
            lambda _, after: replace(after, width=Fraction(1, 4)),
            either(_wheel_finding(pattern, pitches, missing), BOTH_EDGES),
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
        yield _slowly(scene)
    if scene.rpm < FAST_RPM:
        yield at_speed(
            FAST_RPM,
            Finding(
                ("stall time-out",),
                "Lengthen the time without teeth after which the controller takes the engine for "
                "stopped: the gap must fit in at cranking speed.",
            ),
            "no teeth|stall",
        )


def _slowly(scene: Scene) -> Change:
    share = scene.pattern.width_deg / scene.pattern.pitch_deg
    narrow = share * SLOW_RPM / scene.rpm
    blanking = Finding(("crank blanking",), "Shorten the crank blanking: it hides whole teeth.")
    crank_filter = Finding(
        ("crank filter",), "Shorten the crank's noise filter: a tooth must last longer than it."
    )
    return at_speed(
        SLOW_RPM,
        blanking,
        "no teeth|none",
        Doubt(
            f"at {SLOW_RPM} rpm with teeth as short as they were at {scene.rpm}",
            lambda _, after: replace(after, width=narrow),
            either(blanking, crank_filter),
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
    """Other wheels: those whose counts the controller names, then those that are mistyped."""
    if not pattern.regular:
        return
    own = (pattern.pitches, pattern.missing)
    teeth = pattern.pitches - pattern.missing
    named = {int(number) for number in numbers_in(reason) if number == int(number)} - {teeth}
    missing = sorted((1, 2, 3), key=lambda m: m != pattern.missing)
    told = [(count + m, m) for count in sorted(named) for m in missing if 2 < count < 400]
    near = [(teeth, pattern.missing), *((pattern.pitches, m) for m in missing)]
    for pitches, gone in dict.fromkeys([*told, *near, *USUAL_WHEELS]):
        if (pitches, gone) == own or pitches <= gone:
            continue
        is_told = pitches - gone in named
        yield Change(
            f"{pitches} pitches with {gone} missing",
            lambda variant, pitches=pitches, missing=gone: replace(  # type: ignore[misc]
                variant, pitches=pitches, missing=missing
            ),
            _wheel_finding(pattern, pitches, gone),
            r"gap after|of \d" if is_told else "",
            alone=not is_told and pitches != pattern.pitches,
            alike=True,
        )


def counts(pattern: CrankPattern, variant: Variant) -> Finding:
    """All that is known where a wheel syncs by its count, but its teeth do not stand as is set."""
    assert variant.pitches is not None
    return Finding(
        ("teeth a turn", "missing teeth"),
        f"The controller counts {variant.pitches - variant.missing} teeth from gap to gap; this "
        f"wheel has {pattern.pitches - pattern.missing}, for {pattern.pitches} pitches with "
        f"{pattern.missing} missing.",
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

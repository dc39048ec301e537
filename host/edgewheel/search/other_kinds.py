"""Signals of wheels of another kind, for a controller that is set for one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from edgewheel.search.look import Look, Stage
from edgewheel.search.suspects import Change, Finding, numbers_in
from edgewheel.search.variant import CrankPattern

MOST_TEETH = 400
KIND = ("kind of wheel",)


def other_kinds(pattern: CrankPattern, look: Look) -> Iterator[Change]:
    """Even teeth and an added tooth: with the counts that the controller names, then our own."""
    if not (pattern.regular and pattern.missing):
        return
    named = [int(n) for n in numbers_in(look.reason) if n == int(n) and 2 < n < MOST_TEETH]
    if look.stage is Stage.CLAIMS and look.speed_ratio:
        teeth = round((pattern.pitches - pattern.missing) / look.speed_ratio)
        named = [teeth] if 1 <= teeth < MOST_TEETH else []
    halves = [number // 2 for number in named if number % 2 == 0]
    for pitches in dict.fromkeys([*named, *halves, pattern.pitches]):
        told = pitches in named or pitches in halves
        yield _kind(pattern, pitches, False, r"\bmark" if told else "")
        yield _kind(pattern, pitches, True, "added tooth" if told else "")


def even_wheel(pattern: CrankPattern) -> Iterator[Change]:
    """Even teeth, as many as there are: for a controller that counts them from mark to mark."""
    if pattern.regular and pattern.missing:
        yield _kind(pattern, pattern.pitches - pattern.missing, False, "")


def _kind(pattern: CrankPattern, pitches: int, added: bool, words: str) -> Change:
    what = f"{pitches} even teeth" + (" and an added one" if added else "")
    return Change(
        f"{what} on the crank",
        lambda variant: replace(variant, pitches=pitches, missing=0, added=added),
        Finding(
            KIND,
            f"The controller is set for {what}; this wheel has {pattern.pitches} pitches with "
            f"{pattern.missing} missing. Set that first, then diagnose again: every other setting "
            "is counted from it.",
        ),
        words,
        alone=True,
        alike=True,
    )

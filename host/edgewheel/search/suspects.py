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

from edgewheel.search.look import Look
from edgewheel.search.variant import USUAL_RPM, CrankPattern, Variant

SLOW_RPM, FAST_RPM = 250, 3000
"""Of tries that are about speed: cranking, and far above it."""

Apply = Callable[[Variant], Variant]


@dataclass(frozen=True)
class Finding:
    """A wrong setting, by what it is called in any controller, and what to do about it."""

    settings: tuple[str, ...]
    remedy: str


@dataclass(frozen=True)
class Doubt:
    """A second try that tells settings apart.

    `apply` is given the signals before and after the change that helped; `told` what was seen with
    that change and then with the second try, and says what is wrong.
    """

    what: str
    apply: Callable[[Variant, Variant], Variant]
    told: Callable[[Look, Look], tuple[Finding, ...]]


def either(held: Finding, lost: Finding) -> Callable[[Look, Look], tuple[Finding, ...]]:
    """`held` if the controller came as far with the second try, else `lost`."""
    return lambda seen, again: (held if again.stage >= seen.stage else lost,)


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
    alike: bool = False
    """Helps only if sparks are wrong alike afterwards: else it is another wheel with a count that
    syncs by chance."""


def at_speed(rpm: int, finding: Finding, words: str = "", doubt: Doubt | None = None) -> Change:
    """The change to another speed."""
    return Change(f"at {rpm} rpm", lambda one: replace(one, rpm=rpm), finding, words, doubt)


@dataclass(frozen=True)
class Scene:
    """What is known of the engine: its crank track's and cam track's names, and the pattern.

    `strength` says that the crank's signal grows with speed; `rpm` is the speed of a try that is
    not about speed.
    """

    crank: str
    cam: str | None
    pattern: CrankPattern
    has_faults: bool
    cam_teeth: tuple[tuple[Fraction, Fraction], ...] = ()
    cam_shaft: bool = True
    hall: bool = True
    strength: bool = False
    rpm: int = USUAL_RPM


def by_hint(changes: Sequence[Change], reason: str) -> list[Change]:
    """Those first whose words the controller says; otherwise in their own order."""
    return sorted(changes, key=lambda change: not _spoken(change.words, reason))


def _spoken(words: str, reason: str) -> bool:
    return bool(words) and re.search(words, reason) is not None


def numbers_in(reason: str) -> list[float]:
    """The numbers that a controller's reason names, in order."""
    return [float(number) for number in re.findall(r"-?\d+(?:\.\d+)?", reason)]


def no_faults(scene: Scene) -> Iterator[Change]:
    """The sound signal, where the bench file has faults: first of all."""
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

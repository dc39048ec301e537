"""What was learned, in sentences: for the terminal, and as the evidence in a wheel file."""

from __future__ import annotations

from collections.abc import Iterator

from edgewheel.learn.learn import Explanation, Learned, ToothDeviation
from edgewheel.learn.shape import LearnedTrack

MOST_LISTED = 8


def title(explanation: Explanation) -> str:
    """The wheel in a few words: 60-2 with cam."""
    tracks = list(explanation.shape.tracks)
    tracks.sort(key=lambda track: track.name != explanation.shape.main)
    main, others = tracks[0], tracks[1:]
    words = _count(main, explanation)
    if others:
        words += " with " + " and ".join(f"{_teeth(len(t.teeth))} on {t.name}" for t in others)
    return words


def _count(track: LearnedTrack, explanation: Explanation) -> str:
    pitches = explanation.shape.turn_slots
    missing = pitches - len(track.teeth)
    if pitches and missing > 0:
        return f"{pitches}-{missing}"
    return f"{_teeth(len(track.teeth))} on {track.name}"


def _teeth(count: int) -> str:
    return "1 tooth" if count == 1 else f"{count} teeth"


def report(learned: Learned) -> Iterator[str]:
    """Everything that was learned, line by line."""
    best = learned.best
    yield f"{learned.name}: {title(best)}, {'sure' if learned.sure else 'not sure'}"
    yield from (f"  {line}" for line in evidence(learned, best))
    for one in best.deviations[:MOST_LISTED]:
        yield f"  {deviation_words(one)}"
    for number, other in enumerate(learned.explanations[1:], 2):
        yield f"  explanation {number}: {title(other)}, {_assumption(other)}{_library(other)}"
    for doubt in learned.doubts:
        yield f"  not sure: {doubt}"


def evidence(learned: Learned, one: Explanation) -> Iterator[str]:
    """What speaks for an explanation."""
    pattern = one.pattern
    tracks = ", ".join(f"{t.name} on the {t.shaft}" for t in one.shape.tracks)
    per_slot = one.scale.repeat_deg / one.repeat.slots
    yield (f"repeats every {one.scale.repeat_deg:g} crank degrees ({tracks}): {one.scale.reason}")
    yield (
        f"seen {pattern.repeats * one.repeat.parts:.1f} times; {pattern.explained:.2%} of the "
        f"edges are where it has them, {pattern.dropped} dropped, {pattern.extra} extra"
    )
    spreads = sorted(edge.spread for edge in one.repeat.edges)
    scatter_deg = spreads[len(spreads) // 2] * per_slot
    yield f"an edge scatters by {scatter_deg:.2g} degrees as a rule"
    rpm = [point[1] for point in learned.speed]
    yield f"{min(rpm):.0f} to {max(rpm):.0f} rpm, {_assumption(one)}"
    for track in one.shape.tracks:
        if not track.width_known and track.kind != "vr":
            yield f"{track.name}: tooth widths are not known, half the least pitch is written"
        if track.kind == "vr":
            yield f"{track.name}: crosses zero midway between teeth, as a VR sensor's voltage does"
    yield _library(one).removeprefix("; ") or "no library wheel has as many edges"


def _assumption(one: Explanation) -> str:
    if one.ripple is None:
        return "speed taken as even within a turn"
    depth, per_turn = one.ripple
    extra = " (or an eccentric wheel)" if abs(per_turn - 1) < 0.01 else ""
    return f"ripple of {depth:.2g} about the mean, {per_turn:g} times a crank turn{extra}"


def _library(one: Explanation) -> str:
    like = one.like
    if like is None:
        return ""
    if one.in_library:
        scale = "" if like.same_scale else ", at another number of repeats a turn"
        return f"; the library's {like.name} within {max(like.off_deg, 0.01):.2g} degrees{scale}"
    return f"; nearest in the library: {like.name}, up to {like.off_deg:.2g} degrees off"


def deviation_words(one: ToothDeviation) -> str:
    """Which tooth, by how much, how steadily."""
    found = one.deviation
    way = "late" if found.degrees > 0 else "early"
    words = f"{one.track} tooth {one.tooth} {way} by {abs(found.degrees):.2f} degrees"
    if found.steady:
        return f"{words} on every turn (scatter {found.spread_deg:.2f})"
    return f"{words} on {found.turns} of {found.of_turns} turns"


def wheel_comments(learned: Learned, one: Explanation) -> list[str]:
    """The evidence as the comments of a wheel file."""
    lines = [f"Learned from {learned.name}: {'sure' if learned.sure else 'not sure, see below'}."]
    lines += list(evidence(learned, one))
    lines += [deviation_words(d) + " (left out here)" for d in one.deviations]
    return lines + [f"Not sure: {doubt}" for doubt in learned.doubts]

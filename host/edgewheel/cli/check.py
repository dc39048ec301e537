"""`edgewheel check`: what a wheel can tell a controller."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from fractions import Fraction
from itertools import groupby
from pathlib import Path

from edgewheel.cli.check_motion import motion_json, motion_lines, ratios_of
from edgewheel.cli.exits import ExitCode
from edgewheel.cli.options import number
from edgewheel.cli.output import print_json
from edgewheel.wheel.certainty import Certainty, Decoder, Wait
from edgewheel.wheel.check import TOLERANCE, WheelCheck, check
from edgewheel.wheel.landmarks import degrees_to_tdc
from edgewheel.wheel.library import find
from edgewheel.wheel.limits import Shortest
from edgewheel.wheel.safe import SafeEdge
from edgewheel.wheel.wording import degrees, plain, reference_words, tdc_words

_EDGES = {"rise": "rising edges", "fall": "falling edges", "both": "both edges"}
_SAFE = {"rise": "rising edge", "fall": "falling edge", None: "either edge"}
_MOST_LISTED = 12
_AT_RPM = 1000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("wheel", help="a library wheel's name or a wheel file")
    parser.add_argument(
        "--tolerance",
        type=number(minimum=0),
        default=TOLERANCE,
        metavar="X",
        help="period ratios are told apart if one exceeds the other by this part (0.25)",
    )
    parser.add_argument(
        "--input-limit-us",
        type=number(above=0),
        metavar="X",
        help="shortest time between edges that the controller's input follows, microseconds",
    )
    parser.add_argument(
        "--motion",
        type=Path,
        metavar="FILE",
        help="add the worst period ratios under this motion and the margin between them",
    )
    parser.add_argument("--json", action="store_true", help="print the findings as JSON")


def run(args: argparse.Namespace) -> int:
    wheel = find(args.wheel)
    found = check(wheel, args.tolerance)
    moved = ratios_of(wheel, args.motion) if args.motion else None
    if args.json:
        data = _as_json(found, args.input_limit_us)
        if moved:
            data["motion"] = motion_json(moved)
        print_json(data, ensure_ascii=False)
        return ExitCode.PASSED
    print("\n".join(_lines(found, args.input_limit_us)))
    if moved:
        print("\n".join(["", *motion_lines(moved, args.motion)]))
    return ExitCode.PASSED


def _lines(found: WheelCheck, limit_us: Fraction | None) -> Iterator[str]:
    wheel = found.wheel
    yield wheel.name
    if wheel.summary:
        yield wheel.summary
    yield ""
    yield f"speed           yes, {_speed(found)}"
    yield f"crank position  {'yes' if found.gives_position else 'no'}"
    yield f"cycle phase     {'yes' if found.gives_phase else 'no'}"
    yield f"looks alike     {_alike(found.alike_deg)}"
    yield ""
    told = plain(100 * found.tolerance)
    yield f"sure at the latest after (period ratios told apart from {told} % on):"
    yield f"  {'a decoder of':26}{'crank position':36}cycle phase"
    for one in found.certainties:
        position, phase = _wait(one.position, one), _wait(one.phase, one)
        yield f"  {_decoder(one.decoder):26}{position:36}{phase}"
    yield ""
    yield "safe edge at the controller's pin:"
    for safe in found.safe_edges:
        yield f"  {safe.track}: {_safe(safe)}"
    yield ""
    yield "shortest time at the pin:"
    for stretch in found.shortest:
        yield f"  {stretch.track}: {_shortest(stretch, limit_us)}"
    yield ""
    yield from _reference(found)


def _alike(rotations: tuple[Fraction, ...]) -> str:
    if not rotations:
        return "no rotation"
    shown = ", ".join(degrees(one) for one in rotations[:_MOST_LISTED])
    more = ", and so on" if len(rotations) > _MOST_LISTED else ""
    return f"after {shown}{more}"


def _decoder(decoder: Decoder) -> str:
    return _EDGES[decoder.edges] + (" and levels" if decoder.reads_levels else "")


def _speed(found: WheelCheck) -> str:
    track = found.reference.track
    if found.speed_from == "whole turns":
        return f"over whole turns of {track}, until the position is known"
    return f"from {found.speed_from} of {track}"


def _wait(wait: Wait | None, one: Certainty) -> str:
    if wait is None:
        alike = one.alike_deg[0] if one.alike_deg else None
        return f"never: alike after {degrees(alike)}" if alike else "never at this tolerance"
    edges = _count(wait.edges, "edge", "edges")
    return f"{degrees(wait.degrees)}, {edges}, {_count(wait.teeth, 'tooth', 'teeth')}"


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"


def _safe(safe: SafeEdge) -> str:
    words = f"{_SAFE[safe.edge]}: {safe.reason}"
    shifts = {shift for _, shift in safe.shifts}
    if not shifts:
        return words
    other = "from the rising to the falling edge" if safe.edge is None else "at the other"
    if len(shifts) == 1:
        return f"{words}; {other} every tooth is {_later(shifts.pop())}"
    runs = [
        (shift, [tooth for tooth, _ in members])
        for shift, members in groupby(safe.shifts, key=lambda one: one[1])
    ]
    listed = "; ".join(f"{_teeth(teeth)} {_later(shift)}" for shift, teeth in runs[:_MOST_LISTED])
    more = ", and so on" if len(runs) > _MOST_LISTED else ""
    return f"{words}; {other}: {listed}{more}"


def _teeth(numbers: list[int]) -> str:
    if len(numbers) == 1:
        return f"tooth {numbers[0]}"
    return f"teeth {numbers[0]} to {numbers[-1]}"


def _later(shift: Fraction) -> str:
    return f"{degrees(abs(shift))} {'later' if shift > 0 else 'earlier'}"


def _shortest(one: Shortest, limit_us: Fraction | None) -> str:
    at = plain(one.us_at(Fraction(_AT_RPM)))
    words = f"{one.kind} {degrees(one.degrees)}, {at} µs at {_AT_RPM:,} rpm"
    if one.pulse_us:
        words += f" behind a pulse of {plain(one.pulse_us)} µs"
    if limit_us is None:
        return words
    return f"{words}, below {plain(limit_us)} µs beyond {float(one.rpm_limit(limit_us)):,.0f} rpm"


def _reference(found: WheelCheck) -> Iterator[str]:
    reference, wheel = found.reference, found.wheel
    yield f"reference: {reference_words(reference)}"
    for name, edge in (("rising", reference.rise), ("falling", reference.fall)):
        after = degrees_to_tdc(wheel, edge)
        if edge is not None and after is not None:
            words = tdc_words(after, wheel.period)
            yield f"  TDC of cylinder 1 is {words} its {name} edge at {degrees(edge)}"


def _as_json(found: WheelCheck, limit_us: Fraction | None) -> dict[str, object]:
    reference = found.reference
    return {
        "wheel": found.wheel.name,
        "tolerance": float(found.tolerance),
        "speed_from": found.speed_from,
        "crank_position": found.gives_position,
        "cycle_phase": found.gives_phase,
        "alike_deg": [float(one) for one in found.alike_deg],
        "sure_after": [_certainty_json(one) for one in found.certainties],
        "safe_edges": [
            {
                "track": safe.track,
                "edge": safe.edge,
                "reason": safe.reason,
                "other_edge_later_deg": {tooth: float(shift) for tooth, shift in safe.shifts},
            }
            for safe in found.safe_edges
        ],
        "shortest": [_shortest_json(one, limit_us) for one in found.shortest],
        "reference": {
            "track": reference.track,
            "tooth": reference.tooth,
            "landmark": reference.landmark,
            "rise_to_tdc1_deg": _float(degrees_to_tdc(found.wheel, reference.rise)),
            "fall_to_tdc1_deg": _float(degrees_to_tdc(found.wheel, reference.fall)),
        },
    }


def _certainty_json(one: Certainty) -> dict[str, object]:
    return {
        "edges": one.decoder.edges,
        "reads_levels": one.decoder.reads_levels,
        "alike_deg": [float(rotation) for rotation in one.alike_deg],
        "crank_position": _wait_json(one.position),
        "cycle_phase": _wait_json(one.phase),
    }


def _wait_json(wait: Wait | None) -> dict[str, object] | None:
    if wait is None:
        return None
    return {
        "degrees": float(wait.degrees),
        "edges": wait.edges,
        "teeth": wait.teeth,
        "start_deg": float(wait.start_deg),
    }


def _shortest_json(one: Shortest, limit_us: Fraction | None) -> dict[str, object]:
    return {
        "track": one.track,
        "kind": one.kind,
        "degrees": float(one.degrees),
        "pulse_us": float(one.pulse_us),
        "rpm_limit": None if limit_us is None else float(one.rpm_limit(limit_us)),
    }


def _float(value: Fraction | None) -> float | None:
    return None if value is None else float(value)

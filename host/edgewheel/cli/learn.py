"""`edgewheel learn`: from a capture to the wheel behind it."""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from edgewheel.cli.capturing import add_capture_arguments, read
from edgewheel.cli.exits import ExitCode
from edgewheel.cli.options import number
from edgewheel.cli.output import output, print_json

if TYPE_CHECKING:
    from edgewheel.learn.learn import Explanation, Learned, ToothDeviation
    from edgewheel.learn.shape import LearnedTrack


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_capture_arguments(parser)
    parser.add_argument("--second", type=Path, metavar="CAPTURE", help="the same at another speed")
    parser.add_argument(
        "--rpm", type=number(above=0), metavar="X", help="how fast it turned as a rule"
    )
    parser.add_argument("--teeth", type=int, metavar="N", help="teeth that pass in a crank turn")
    parser.add_argument("--wheel", metavar="FILE", help="write the wheel file")
    parser.add_argument("--speed", metavar="FILE", help="write the speed as a table time,rpm")
    parser.add_argument("--bench", metavar="FILE", help="write a bench file that shows the same")
    parser.add_argument(
        "--like", type=Path, metavar="BENCH", help="a bench file whose controller it takes"
    )
    parser.add_argument("--json", action="store_true", help="the findings as JSON on stdout")


def run(args: argparse.Namespace) -> int:
    from edgewheel.errors import UsageError
    from edgewheel.learn.benchfile import faults_text
    from edgewheel.learn.learn import learn
    from edgewheel.learn.wording import report

    if args.bench and args.like is None:
        raise UsageError("Whose controller? Give --like with a bench file of it beside --bench.")
    second = read(args.second, args) if args.second else None
    rpm = float(args.rpm) if args.rpm else None
    learned = learn(read(args.capture, args), rpm, second, args.teeth)
    _write(args, learned)
    if args.json:
        print_json(_as_json(learned))
        return ExitCode.PASSED
    print("\n".join(report(learned)))
    if learned.best.deviations and not args.bench:
        print("\nAs a fault in a bench file:\n" + faults_text(learned), end="")
    return ExitCode.PASSED


def _write(args: argparse.Namespace, learned: Learned) -> None:
    """The files that were asked for."""
    from edgewheel.learn.benchfile import bench_text, speed_table
    from edgewheel.learn.wording import title, wheel_comments
    from edgewheel.yamlfile import load

    best = learned.best
    if args.wheel:
        summary = f"learned from {learned.name}"
        text = best.text(title(best), summary, wheel_comments(learned, best))
        with output(args.wheel, "utf-8") as file:
            file.write(text)
    if args.bench:
        bench = Path(args.bench)
        in_library = best.in_library and not args.wheel
        wheel = best.like.name if best.like is not None and in_library else ""
        if not wheel:
            file_name = args.wheel or str(bench.with_suffix(".wheel.yaml"))
            if not args.wheel:
                with output(file_name, "utf-8") as file:
                    file.write(best.text(title(best), "learned", wheel_comments(learned, best)))
            wheel = os.path.relpath(file_name, bench.parent)
        with output(args.bench, "utf-8") as file:
            file.write(bench_text(learned, load(args.like), wheel, in_library))
    if args.speed:
        with output(args.speed) as file:
            file.write(speed_table(learned))
    for path in (args.wheel, args.speed, args.bench):
        if path and path != "-":
            print(f"{path} is written", file=sys.stderr)


def _as_json(learned: Learned) -> dict[str, Any]:
    return {
        "schema": 1,
        "capture": learned.name,
        "sure": learned.sure,
        "doubts": list(learned.doubts),
        "explanations": [_explanation(one) for one in learned.explanations],
        "speed": [[round(seconds, 6), round(rpm, 3)] for seconds, rpm in learned.speed],
    }


def _explanation(one: Explanation) -> dict[str, Any]:
    from edgewheel.learn.wording import title

    like, ripple = one.like, one.ripple
    return {
        "title": title(one),
        "period_deg": one.scale.period,
        "repeats_a_period": one.scale.copies,
        "scale_known": one.scale.known,
        "explained": one.pattern.explained,
        "repeats": one.pattern.repeats * one.repeat.parts,
        "dropped": one.pattern.dropped,
        "extra": one.pattern.extra,
        "ripple": ripple and {"depth": ripple[0], "per_turn": ripple[1]},
        "nearest": like
        and {"name": like.name, "off_deg": like.off_deg, "same_scale": like.same_scale},
        "deviations": [_deviation(found) for found in one.deviations],
        "tracks": {track.name: _track(track) for track in one.shape.tracks},
    }


def _deviation(one: ToothDeviation) -> dict[str, Any]:
    found = one.deviation
    return {
        "track": one.track,
        "tooth": one.tooth,
        "late_deg": found.degrees,
        "scatter_deg": found.spread_deg,
        "turns": found.turns,
        "of_turns": found.of_turns,
    }


def _track(track: LearnedTrack) -> dict[str, Any]:
    return {
        "shaft": track.shaft,
        "sensor": track.kind,
        "metal": track.metal,
        "teeth_deg": [[round(begin, 3), round(end, 3)] for begin, end in track.teeth],
        "widths_known": track.width_known,
    }

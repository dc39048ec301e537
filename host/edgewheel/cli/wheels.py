"""`edgewheel wheels`: the wheel library."""

from __future__ import annotations

import argparse
from itertools import groupby

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.output import print_json
from edgewheel.wheel.library import Entry, listing


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", action="store_true", help="print a JSON list")


def run(args: argparse.Namespace) -> int:
    entries = listing()
    if args.json:
        print_json([_as_json(entry) for entry in entries], ensure_ascii=False)
        return ExitCode.PASSED
    width = max(len(entry.stem) for entry in entries)
    for group, members in groupby(entries, key=lambda entry: entry.wheel.group):
        print(f"{group}:")
        for entry in members:
            print(f"  {entry.stem:{width}}  {entry.wheel.summary}")
    return ExitCode.PASSED


def _as_json(entry: Entry) -> dict[str, object]:
    wheel = entry.wheel
    return {
        "name": entry.stem,
        "title": wheel.name,
        "group": wheel.group,
        "summary": wheel.summary,
        "met": wheel.met,
        "period_deg": wheel.period,
        "tracks": {
            track.name: {
                "shaft": track.shaft,
                "sensor": track.sensor.kind,
                "teeth": len(track.teeth),
            }
            for track in wheel.tracks
        },
        "firing_order": list(wheel.firing_order),
    }

"""Benches whose settings sheets are made, as plans of files in a folder."""

from pathlib import Path

import yaml

from edgewheel.bench.loader import load_plan
from edgewheel.search.sheet.make import bench_subject, sheet_of

CRANKING = {"hold": 250, "turns": 8, "ripple": {"depth": 0.15, "per_turn": 2}}
FAST = {"hold": 5000, "turns": 9, "ripple": {"depth": 0.04, "per_turn": 2}}
BOUNCE = {"kind": "bounce", "track": "crank", "after": "rise", "delay_us": 24, "width_us": 4}
MOON = {
    "wheel": "60-minus-2-half-moon-cam",
    "motion": {"segments": [CRANKING, {"ramp": 5000, "rate": 20000}, FAST]},
    "faults": {"worn": BOUNCE},
}
PIN = {
    "wheel": "36-minus-1-1-tooth-cam",
    "sensors": {"crank": {"kind": "hall"}, "cam": {"kind": "hall"}},
    "motion": {"segments": [CRANKING, {"ramp": 3000, "rate": 20000}]},
}
BEFORE = {"crank": {"line": "crank"}, "cam": {"line": "cam"}, "wheel": {"kind": "missing_teeth"}}


def nested(addresses: dict, base: dict) -> dict:
    tree = {key: dict(value) for key, value in base.items()}
    for address, value in addresses.items():
        group, key = address.split(".")
        tree.setdefault(group, {})[key] = value
    return tree


def write(folder: Path, bench: dict, settings: dict):
    """A bench file's plan."""
    some = {"wheel.pitches": 60, "wheel.missing": 2, "wheel.gap_ratio_low": 2}
    tree = nested({**some, "wheel.gap_ratio_high": 4, **settings}, BEFORE)
    document = {
        "format": 1,
        "name": "Sheet",
        "board": {"kind": "sim", "tick_hz": 16_000_000},
        "controller": {"kind": "sim", "settings": tree},
        "limits": {"sync_within_s": 1.5, "speed_error_percent": 30},
        **bench,
    }
    file = folder / "bench.yaml"
    file.write_text(yaml.safe_dump(document))
    return load_plan(file)


def sheet_for(folder: Path, bench: dict):
    return sheet_of(bench_subject(write(folder, bench, {}), "bench.yaml"))


SHEETS = {}


def sheet_of_whole(folder: Path, bench: dict):
    """The sheet of MOON or PIN as they stand, made once."""
    if bench["wheel"] not in SHEETS:
        SHEETS[bench["wheel"]] = sheet_for(folder, bench)
    return SHEETS[bench["wheel"]]

"""Plays a suite of tests without the command line."""

import json
import shutil
from dataclasses import dataclass
from pathlib import Path

from edgewheel.search.qualify.playing import Player
from edgewheel.search.qualify.qualification import Qualification
from edgewheel.search.qualify.reading import load_qualify
from edgewheel.search.qualify.shipped import locate

DEMO = locate("frost-fan")
SHORT = """
format: 1
name: Two quick tests
bench: bench.yaml
tests:
  polarity:
    kind: reaction
    rpm: 1500
    expect: noticed
    begins: at_once
    trials: 2
    fault: {kind: polarity, track: cam}
    limits: {share_percent: {at_least: 10}}
  stall: {kind: stall, rpm: 1500, stand_s: 0.6, trials: 6, limits: {ms: {at_most: 450}}}
"""


def short_plan(folder: Path, bench: str = "bench.yaml") -> Path:
    """A plan of two tests of few trials, with the demo's bench file beside it."""
    shutil.copytree(DEMO.parent, folder, dirs_exist_ok=True)
    plan = folder / "short.yaml"
    plan.write_text(SHORT.replace("bench.yaml", bench))
    return plan


@dataclass
class Played:
    folder: Path
    summary: dict


def play(plan_file: Path, runs: Path, names=(), resume: Path | None = None) -> Played:
    plan = load_qualify(plan_file)
    tests = [test for test in plan.tests if not names or test.name in names]
    with Player(plan, runs, resume) as player:
        suite = Qualification(player, tests, plan_file.stem)
        for _ in suite.items():
            pass
        player.finish(suite.summary())
    summary = json.loads((player.folder / "summary.json").read_text())
    return Played(player.folder, summary)

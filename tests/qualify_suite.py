"""Plays a suite of tests without the command line."""

import json
from dataclasses import dataclass
from pathlib import Path

from edgewheel.search.qualify.playing import Player
from edgewheel.search.qualify.qualification import Qualification
from edgewheel.search.qualify.reading import load_qualify
from edgewheel.search.qualify.shipped import locate

DEMO = locate("frost-fan")


@dataclass
class Played:
    folder: Path
    summary: dict


def play(plan_file: Path, runs: Path, names=(), resume: Path | None = None) -> Played:
    plan = load_qualify(plan_file)
    tests = [test for test in plan.tests if not names or test.name in names]
    with Player(plan, runs, resume) as player:
        suite = Qualification(player, tests, "frost-fan")
        for _ in suite.items():
            pass
        player.finish(suite.summary())
    summary = json.loads((player.folder / "summary.json").read_text())
    return Played(player.folder, summary)

"""`edgewheel qualify`: a declared suite of tests, and the report on a release that it gives."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.output import print_json
from edgewheel.cli.reporting import leave_report
from edgewheel.cli.talk import Talk, stoppable
from edgewheel.clock import clock_text

if TYPE_CHECKING:
    from edgewheel.search.qualify.against import Release
    from edgewheel.search.qualify.outcome import Outcome
    from edgewheel.search.qualify.plan import QualifyPlan, Test
    from edgewheel.search.qualify.playing import Player
    from edgewheel.search.qualify.qualification import Qualification

DEMO = "frost-fan"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("plan", nargs="?", help="a plan of tests, or the name of a shipped one")
    parser.add_argument(
        "--only",
        action="append",
        default=[],
        metavar="NAME",
        help="only this test of the plan; may be given several times",
    )
    parser.add_argument(
        "--against",
        type=Path,
        metavar="RUN",
        help="a folder that qualify made: name what got worse since, beyond the noise",
    )
    parser.add_argument("--runs", type=Path, default=Path("runs"), help="where run folders go")
    parser.add_argument("--resume", type=Path, metavar="FOLDER", help="go on with a stopped suite")
    parser.add_argument("--json", action="store_true", help="the result as JSON on stdout")
    parser.add_argument(
        "--dry-run", action="store_true", help="say what would be played and how long it takes"
    )


def run(args: argparse.Namespace) -> int:
    from edgewheel.errors import UsageError
    from edgewheel.search.qualify.against import read_release
    from edgewheel.search.qualify.playing import Player
    from edgewheel.search.qualify.reading import load_qualify, only
    from edgewheel.search.qualify.shipped import locate

    if args.plan is None:
        raise UsageError(
            "Which plan? Write 'edgewheel qualify PLAN'. One for an invented controller comes "
            f"with edgewheel:\n  edgewheel qualify {DEMO}"
        )
    plan = load_qualify(locate(args.plan))
    tests = only(plan, args.only) if args.only else plan.tests
    if args.dry_run:
        return _dry_run(plan, tests, args.json)
    before = read_release(args.against, tests) if args.against else None
    player = Player(plan, args.runs, args.resume)
    with player, stoppable(player.stop):
        return _played(args, player, tests, before)


def _played(
    args: argparse.Namespace, player: Player, tests: tuple[Test, ...], before: Release | None
) -> int:
    from edgewheel.search.qualify.qualification import Qualification, Step
    from edgewheel.search.trials import SearchStopped

    suite = Qualification(player, tests, args.plan)
    talk = Talk()
    talk.keep(player.folder, args.typed)
    talk.say(_head(player.plan, tests))
    try:
        for item in suite.items():
            if isinstance(item, Step):
                left = f"{clock_text(item.real_left_s)} of a real bench"
                talk.progress(item.share, f"{item.test} {item.share_of_test:.0%}  ({left})")
            else:
                talk.say(row(item))
    except SearchStopped:
        talk.done()
        talk.say(
            f"stopped; what was played is kept. The same command with --resume {player.folder} "
            "goes on from there"
        )
        return ExitCode.INTERRUPTED
    talk.done()
    against = suite.against(before) if before else None
    summary = suite.summary(against)
    player.finish(summary)
    leave_report(player.folder, talk)
    if args.json:
        print_json({"schema": 1, "folder": str(player.folder), **summary})
    else:
        talk.answer(page(suite, summary["against"], player.folder))
    return exit_code(suite)


def row(outcome: Outcome) -> str:
    """One test on a line, and what there is to say of it on the next."""
    from edgewheel.search.qualify.outcome import interval, number

    measured = outcome.measured
    value = f"{number(measured.value, measured.unit)} ({interval(measured)})" if measured else "-"
    band = f" +{outcome.bound.marginal:g}" if outcome.bound.marginal else ""
    limit = f"{outcome.bound}{band}"
    line = f"{outcome.grade.value:9s} {outcome.name:28s} {value:38s} {limit}"
    return line if outcome.grade.value == "passed" else f"{line}\n          {outcome.sentence}"


def page(suite: Qualification, against: dict[str, object] | None, folder: Path) -> str:
    """The result in words."""
    counts = dict.fromkeys(("passed", "marginal", "failed", "error"), 0)
    for outcome in suite.outcomes:
        counts[outcome.grade.value] += 1
    told = ", ".join(f"{count} {grade}" for grade, count in counts.items() if count)
    lines = [f"{suite.name}: {suite.grade.value}. {told}."]
    if against is not None:
        lines += _changes(against)
    return "\n".join([*lines, f"Record: {folder}"])


def exit_code(suite: Qualification) -> ExitCode:
    """0 for passed and marginal."""
    from edgewheel.search.qualify.bounds import Grade

    codes = {Grade.FAILED: ExitCode.FAILED, Grade.ERROR: ExitCode.BENCH}
    return codes.get(suite.grade, ExitCode.PASSED)


def _changes(against: dict[str, object]) -> list[str]:
    from edgewheel.report.words import several

    compared = against["compared"]
    assert isinstance(compared, int)
    lines = [f"Against {against['folder']}, {several(compared, 'measure')} compared:"]
    for word in ("worse", "better"):
        changes = against[word]
        assert isinstance(changes, list)
        lines += [f"  {word}: {change['sentence']}" for change in changes]
    if len(lines) == 1 and compared:
        lines.append("  nothing changed beyond the noise.")
    left_out = against["not_compared"]
    assert isinstance(left_out, list)
    if left_out:
        why = "for they were not asked alike or not measured in both"
        lines.append(f"  not compared, {why}: {', '.join(left_out)}.")
    return lines


def _head(plan: QualifyPlan, tests: tuple[Test, ...]) -> str:
    from edgewheel.report.words import several
    from edgewheel.search.qualify.qualification import whole_cost

    cost = whole_cost(plan, tests)
    return (
        f"{plan.name}: {several(len(tests), 'test')}, about {cost.trials:.0f} trials; on a real "
        f"bench about {clock_text(cost.real_s)}"
    )


def _dry_run(plan: QualifyPlan, tests: tuple[Test, ...], as_json: bool) -> int:
    """What would be played, and how long that takes here and on a real bench."""
    from edgewheel.search.qualify.estimate import cost, needs
    from edgewheel.search.qualify.qualification import whole_cost

    rows = [(test, cost(plan, test), needs(plan, test)) for test in tests]
    total = whole_cost(plan, tests)
    if as_json:
        data = {
            "schema": 1,
            "name": plan.name,
            "trials": total.trials,
            "engine_seconds": round(total.engine_s, 1),
            "simulated_seconds_estimate": round(total.sim_s, 1),
            "real_seconds_estimate": round(total.real_s, 1),
            "tests": [
                {
                    "name": test.name,
                    "title": test.title,
                    "trials": one.trials,
                    "engine_seconds": round(one.engine_s, 1),
                    "simulated_seconds_estimate": round(one.sim_s, 1),
                    "real_seconds_estimate": round(one.real_s, 1),
                    "not_possible": lacks,
                }
                for test, one, lacks in rows
            ],
        }
        print_json(data)
        return ExitCode.PASSED
    print(f"{'test':28s} {'trials':>6s} {'simulated':>9s} {'real':>7s}")
    for test, one, lacks in rows:
        times = f"{clock_text(one.sim_s):>9s} {clock_text(one.real_s):>7s}"
        print(f"{test.name:28s} {one.trials:6.0f} {times}  {lacks or test.title}")
    print(
        f"{'all':28s} {total.trials:6.0f} {clock_text(total.sim_s):>9s} "
        f"{clock_text(total.real_s):>7s}"
    )
    return ExitCode.PASSED

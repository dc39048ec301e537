"""`edgewheel threshold`: the value of one number at which the controller fails."""

from __future__ import annotations

import argparse

from edgewheel.cli.exits import ExitCode
from edgewheel.cli.options import number
from edgewheel.cli.output import print_json
from edgewheel.cli.reporting import leave_junit
from edgewheel.cli.searching import (
    add_search_arguments,
    add_trial_arguments,
    open_trials,
    stopped_line,
    trial_line,
)
from edgewheel.cli.talk import Talk, stoppable


def add_arguments(parser: argparse.ArgumentParser) -> None:
    from pathlib import Path

    parser.add_argument("bench", type=Path, help="a bench file")
    parser.add_argument(
        "address",
        help="the number to vary: 'speed', or where it stands in the bench file, such as "
        "faults.sensor.delay_us or motion.segments[1].hold",
    )
    parser.add_argument("--from", dest="low", type=number(), required=True, metavar="A")
    parser.add_argument("--to", dest="high", type=number(), required=True, metavar="B")
    parser.add_argument("--whole", action="store_true", help="whole numbers only")
    parser.add_argument(
        "--probability",
        type=float,
        default=0.5,
        metavar="P",
        help="the share of trials that fail at the threshold (default 0.5)",
    )
    parser.add_argument(
        "--within",
        type=float,
        default=1.0,
        metavar="PERCENT",
        help="end when the 95 %% interval is as narrow as this share of the range (default 1)",
    )
    parser.add_argument("--trials", type=int, default=80, help="at most so many (default 80)")
    add_trial_arguments(parser)
    add_search_arguments(parser)


def run(args: argparse.Namespace) -> int:
    from edgewheel.errors import UsageError
    from edgewheel.search.axis import make_axis
    from edgewheel.search.seek import Seek
    from edgewheel.search.threshold import Wanted
    from edgewheel.search.trials import SearchStopped

    if not 0.01 <= args.probability <= 0.99:
        raise UsageError(f"--probability {args.probability:g}: write a number from 0.01 to 0.99.")
    if not 0 < args.within <= 100 or args.trials < 2:
        raise UsageError("--within is a percentage above 0, --trials at least 2.")
    axis = make_axis(args.address, args.low, args.high, args.whole)
    wanted = Wanted(args.probability, args.within / 100, args.trials)
    talk = Talk()
    trials = open_trials(args, {"axis": repr(axis), "wanted": repr(wanted)}, axis)
    trials.summary["repeat"] = talk.keep(trials.folder, args.typed)
    with trials, stoppable(trials.stop):
        seek = Seek(trials, axis, wanted)
        try:
            for value, trial in seek.items():
                talk.say(trial_line(f"{axis.address} = {value:<10.6g}", trial))
                talk.progress(seek.share_done, f"trial {len(trials.done)}")
        except SearchStopped:
            talk.done()
            talk.say(stopped_line(trials))
            return ExitCode.INTERRUPTED
    talk.done()
    leave_junit(trials.folder, talk)
    limit = seek.limit
    if args.json:
        data = {"schema": 1, "folder": str(trials.folder), "probability": args.probability}
        print_json({**data, **limit.as_data()})
    else:
        talk.answer(limit.sentence(args.probability))
        talk.answer(f"Record: {trials.folder}")
    return ExitCode.PASSED

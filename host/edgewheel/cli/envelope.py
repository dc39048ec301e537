"""`edgewheel envelope`: where sync holds and where not, over two numbers of a bench file."""

from __future__ import annotations

import argparse
from pathlib import Path

from edgewheel.cli.exits import ExitCode
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
from edgewheel.search.border import FEWEST_HALVINGS, MOST_HALVINGS
from edgewheel.wholefile import write_whole


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("bench", type=Path, help="a bench file")
    for name in ("--x", "--y"):
        parser.add_argument(
            name,
            nargs=3,
            required=True,
            metavar=("ADDRESS", "FROM", "TO"),
            help="a number to vary: 'speed', or where it stands in the bench file, and its range",
        )
    parser.add_argument(
        "--halvings",
        type=int,
        default=6,
        help=f"the border is found to 1 / 2^N of each range, N from {FEWEST_HALVINGS} to "
        f"{MOST_HALVINGS} (default 6)",
    )
    parser.add_argument(
        "--look",
        type=int,
        default=2,
        metavar="N",
        help="begin with a lattice of 2^N steps a side: more finds smaller islands (default 2)",
    )
    parser.add_argument("--svg", type=Path, metavar="FILE", help="draw it into this file too")
    add_trial_arguments(parser)
    add_search_arguments(parser)


def run(args: argparse.Namespace) -> int:
    from edgewheel.search.axis import axis_from_words
    from edgewheel.search.envelope import Envelope, refuse_steps
    from edgewheel.search.picture import as_svg, as_text
    from edgewheel.search.trials import SearchStopped

    refuse_steps(args.halvings, args.look)
    x, y = axis_from_words(args.x), axis_from_words(args.y)
    talk = Talk()
    asked = {"x": repr(x), "y": repr(y), "steps": f"{args.look} to {args.halvings}"}
    trials = open_trials(args, asked, x, y)
    trials.summary["repeat"] = talk.keep(trials.folder, args.typed)
    with trials, stoppable(trials.stop):
        envelope = Envelope(trials, x, y, args.halvings, args.look, trials.seed)
        try:
            for at_x, at_y, trial in envelope.items():
                where = f"{x.address} = {at_x:<9.5g} {y.address} = {at_y:<9.5g}"
                talk.say(trial_line(where, trial))
                talk.progress(envelope.border.share_done(), f"trial {len(trials.done)}")
        except SearchStopped:
            talk.done()
            talk.say(stopped_line(trials))
            return ExitCode.INTERRUPTED
    talk.done()
    leave_junit(trials.folder, talk)
    if args.svg:
        write_whole(args.svg, as_svg(envelope.border, x, y, f"{trials.name}: where sync holds"))
    if args.json:
        data = {"schema": 1, "folder": str(trials.folder), **envelope.as_data()}
        print_json(data)
    else:
        talk.answer(as_text(envelope.border, x, y))
        talk.answer(envelope.sentence())
        talk.answer(f"Record: {trials.folder}")
    return ExitCode.PASSED

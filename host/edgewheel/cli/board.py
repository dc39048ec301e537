"""`edgewheel board`: the simulated board and controller as real serial ports."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from edgewheel.cli.compile import DEFAULT_TICK_HZ
from edgewheel.cli.exits import ExitCode
from edgewheel.cli.options import tick_rate
from edgewheel.cli.talk import stoppable


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("kind", choices=["sim"], help="which board")
    parser.add_argument("--pty", action="store_true", required=True, help="on a pseudo-terminal")
    parser.add_argument(
        "--controller", type=Path, required=True, metavar="FILE", help="its settings, a YAML file"
    )
    parser.add_argument(
        "--lines",
        default="crank,cam",
        help="what the board's outputs are wired to, in order (%(default)s)",
    )
    parser.add_argument(
        "--tick-hz", type=tick_rate, default=DEFAULT_TICK_HZ, help="ticks a second (%(default)s)"
    )


def run(args: argparse.Namespace) -> int:
    from edgewheel.bench.wired import ControllerOnPins
    from edgewheel.board.pty import PtyBoard
    from edgewheel.board.run import SimSettings
    from edgewheel.board.sim import SimBoard
    from edgewheel.controller.sim.reading import read_settings
    from edgewheel.edges.stage import OutputStage
    from edgewheel.yamlfile import load

    lines = tuple(args.lines.split(","))
    settings = SimSettings(tick_hz=args.tick_hz)
    wired = ControllerOnPins(
        read_settings(load(args.controller)),
        args.tick_hz,
        lines,
        OutputStage.straight(len(lines)),
        settings.inputs,
    )

    def said() -> bytes:
        """What the controller says on its port, with what it is asked there taken in first."""
        port, tick = board.controller_port, board.tick
        if port is not None and port.is_open() and (asked := port.read()):
            wired.ask(asked, tick)
        return b"".join(data for _, data in wired.take_serial() if isinstance(data, bytes))

    board = PtyBoard(SimBoard(settings), wired, said)
    assert board.controller_port is not None
    print(f"board:      {board.port.path}")
    print(f"controller: {board.controller_port.path}", flush=True)
    for number, name in enumerate(wired.names, 1):
        print(f"in{number} is wired to {name}", file=sys.stderr)
    stopped: list[bool] = []
    with stoppable(lambda: stopped.append(True)):
        board.run(lambda: bool(stopped))
    return ExitCode.INTERRUPTED

"""A simulated board and controller at real ports, in a thread; the board's state can be seen."""

import threading
from contextlib import contextmanager

from edgewheel import yamlfile
from edgewheel.bench.wired import ControllerOnPins
from edgewheel.board.pty import PtyBoard
from edgewheel.board.run import SimSettings
from edgewheel.board.sim import SimBoard
from edgewheel.controller.sim.reading import read_settings
from edgewheel.edges.stage import OutputStage
from real_time_bench import SETTINGS

BENCH = """\
format: 1
name: At ports
wheel: 60-minus-2-half-moon-cam
board: {board}
controller: {{kind: serial, port: {controller}}}
signals: {{sync: {{field: sync, synced: [full]}}}}
"""


@contextmanager
def board_at_port(folder):
    """Yields the board and the path of a bench file for it."""
    text = SETTINGS.format(report="baud: 115200")
    settings = read_settings(yamlfile.parse(text, "controller.yaml"))
    sim = SimSettings(tick_hz=16_000_000)
    wired = ControllerOnPins(
        settings, sim.tick_hz, ("crank", "cam"), OutputStage.straight(2), sim.inputs
    )

    def said():
        return b"".join(piece for _, piece in wired.take_serial())

    board = SimBoard(sim)
    port = PtyBoard(board, wired, said)
    bench = folder / "at-ports.yaml"
    paths = {"board": port.port.path, "controller": port.controller_port.path}
    bench.write_text(BENCH.format(**paths), encoding="utf-8")
    stop = threading.Event()
    thread = threading.Thread(target=port.run, args=(stop.is_set,), daemon=True)
    thread.start()
    try:
        yield board, bench
    finally:
        stop.set()
        thread.join(5)

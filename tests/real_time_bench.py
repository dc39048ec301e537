"""The simulated board and controller in real time, in a thread: ports and buses to play against."""

import threading
from contextlib import contextmanager

from edgewheel import yamlfile
from edgewheel.bench.wired import ControllerOnPins
from edgewheel.board.pty import PtyBoard
from edgewheel.board.run import SimSettings
from edgewheel.board.sim import SimBoard
from edgewheel.controller.reader import CanFrame
from edgewheel.controller.sim.reading import read_settings
from edgewheel.edges.stage import OutputStage

SETTINGS = """\
crank: {{line: crank}}
cam: {{line: cam}}
wheel: {{kind: missing_teeth, pitches: 60, missing: 2, gap_ratio_low: 2.2, gap_ratio_high: 4}}
phase: {{by: level, level: high}}
engine: {{tdc_after_reference_deg: 84}}
report: {{{report}}}
"""


@contextmanager
def real_time(report, bus=None):
    """Yields the paths of the board's and the controller's port.

    With `bus`, a python-can bus, the controller speaks there and answers what comes from there.
    """
    settings = read_settings(yamlfile.parse(SETTINGS.format(report=report), "controller.yaml"))
    sim = SimSettings(tick_hz=16_000_000)
    stage = OutputStage.straight(2)
    wired = ControllerOnPins(settings, sim.tick_hz, ("crank", "cam"), stage, sim.inputs)

    def said():
        tick = board.tick
        if bus is not None:
            while (message := bus.recv(0)) is not None:
                wired.ask(CanFrame(message.arbitration_id, bytes(message.data)), tick)
        elif board.controller_port.is_open() and (asked := board.controller_port.read()):
            wired.ask(asked, tick)
        pieces = [piece for _, piece in wired.take_serial()]
        if bus is None:
            return b"".join(pieces)
        for piece in pieces:
            bus.send(message_of(piece))
        return b""

    board = PtyBoard(SimBoard(sim), wired, said)
    stop = threading.Event()
    thread = threading.Thread(target=board.run, args=(stop.is_set,), daemon=True)
    thread.start()
    try:
        yield board.port.path, board.controller_port.path
    finally:
        stop.set()
        thread.join(5)


def message_of(frame):
    """A frame as python-can has it."""
    import can

    return can.Message(arbitration_id=frame.id, data=frame.data, is_extended_id=frame.extended)

"""The simulated controller on the pins of a board, whatever board it is."""

from __future__ import annotations

from edgewheel.controller.sim import ControllerSettings, SimController
from edgewheel.edges.stage import OutputStage
from edgewheel.link.pinbus import LineWiring, Pulse, Transitions, Wiring

SerialBytes = tuple[int, bytes]
"""The board tick at which the last of these bytes had come, and the bytes."""


class ControllerOnPins:
    """Passes the board's transitions through the output stage to the controller, and back.

    `lines` names the board's outputs, `inputs` how many of the controller's outputs the board has
    inputs for; the others are not wired.
    """

    def __init__(
        self,
        settings: ControllerSettings,
        tick_hz: int,
        lines: tuple[str, ...],
        stage: OutputStage,
        inputs: int,
    ) -> None:
        wiring = tuple(
            LineWiring(*times)
            for times in zip(stage.inverts, stage.rise_ticks, stage.fall_ticks, strict=True)
        )
        self._wiring = Wiring(wiring)
        at_rest = sum(inverts << track for track, inverts in enumerate(stage.inverts))
        self._controller = SimController(settings, tick_hz, lines, at_rest)
        self._inputs = inputs
        self._serial: list[SerialBytes] = []
        self._first = True
        self.names = self._controller.outputs[:inputs]
        self.rest_levels = self._controller.output_levels[:inputs]

    def exchange(self, transitions: Transitions, until_tick: int) -> list[Pulse]:
        """Let the controller see what the pins did up to a tick; what it did on its outputs."""
        seen = self._wiring.pass_on(transitions, until_tick)
        output = self._controller.feed(seen.ticks, seen.masks, until_tick)
        self._serial += output.serial
        pulses = [Pulse(p.tick, p.line, p.level) for p in output.pulses if p.line < self._inputs]
        if self._first:
            self._first = False
            resting = enumerate(self.rest_levels)
            pulses = [Pulse(0, line, level) for line, level in resting] + pulses
        return pulses

    def take_serial(self) -> list[SerialBytes]:
        """What the controller's serial port said since the last call."""
        said, self._serial = self._serial, []
        return said

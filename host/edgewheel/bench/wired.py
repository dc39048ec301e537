"""The simulated controller on the pins of a board, whatever board it is."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from edgewheel.controller.reader import Piece
from edgewheel.controller.sim.controller import SimController
from edgewheel.controller.sim.power import SwitchedController
from edgewheel.controller.sim.settings import ControllerSettings
from edgewheel.controller.sim.vr_input import VrInputs
from edgewheel.edges.stage import OutputStage
from edgewheel.link.pinbus import NO_TRANSITIONS, Pulse, Transitions, Wiring

Spoken = tuple[int, Piece]
"""The board tick at which the last of a piece of what the controller says had come, and it."""


class ControllerOnPins:
    """Passes the board's transitions through the output stage to the controller, and back.

    `lines` names the board's outputs, `inputs` how many of the controller's outputs the board has
    inputs for; the others are not wired. `supply` names the line that switches its supply; without
    one it is always on. `mv_a_height` tells, by output, what the stage makes
    of a VR output's codes.
    """

    def __init__(
        self,
        settings: ControllerSettings,
        tick_hz: int,
        lines: tuple[str, ...],
        stage: OutputStage,
        inputs: int,
        supply: str | None = None,
        mv_a_height: Mapping[int, float] | None = None,
    ) -> None:
        self._wiring = Wiring(stage)
        at_rest = stage.pin_mask((0,) * len(stage.inverts))
        delays = dict(enumerate(stage.rise_ticks))
        self._vr = VrInputs(settings, tick_hz, lines, at_rest, mv_a_height or {}, delays)
        at_rest = self._vr.rest_mask(at_rest)
        self._controller = (
            SimController(settings, tick_hz, lines, at_rest)
            if supply is None
            else SwitchedController(settings, tick_hz, lines, at_rest, supply)
        )
        self._inputs = inputs
        self._serial: list[Spoken] = []
        self._first = True
        self._late = NO_TRANSITIONS
        self.names = self._controller.outputs[:inputs]
        self.rest_levels = self._controller.output_levels[:inputs]

    def exchange(self, transitions: Transitions, until_tick: int) -> list[Pulse]:
        """Let the controller see what the pins did up to a tick; what it did on its outputs."""
        last_tick = until_tick - 1
        self._vr.know(transitions.peaks)
        wired = self._wiring.pass_on(self._before(transitions, until_tick), last_tick)
        seen = self._vr.pass_on(wired, last_tick)
        output = self._controller.feed(seen.ticks, seen.masks, last_tick)
        self._serial += output.serial
        pulses = [Pulse(p.tick, p.line, p.level) for p in output.pulses if p.line < self._inputs]
        if self._first:
            self._first = False
            resting = enumerate(self.rest_levels)
            pulses = [Pulse(0, line, level) for line, level in resting] + pulses
        return pulses

    def _before(self, transitions: Transitions, until_tick: int) -> Transitions:
        """Those below a tick; what the pins do at that very tick may not be known yet."""
        ticks = np.concatenate([self._late.ticks, transitions.ticks])
        masks = np.concatenate([self._late.masks, transitions.masks])
        cut = int(np.searchsorted(ticks, until_tick))
        self._late = Transitions(ticks[cut:], masks[cut:])
        return Transitions(ticks[:cut], masks[:cut])

    def ask(self, piece: Piece, tick: int) -> None:
        """A request reaches the controller's reporting port."""
        self._controller.ask(piece, tick)

    def take_serial(self) -> list[Spoken]:
        """What the controller's reporting port said since the last call."""
        said, self._serial = self._serial, []
        return said

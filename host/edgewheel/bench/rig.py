"""The rig: the one place that joins a board and a controller, and plays a plan on them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from edgewheel.bench.events import Event, Finished, Understood
from edgewheel.bench.feed import CommandSwitch
from edgewheel.bench.follow import Follower
from edgewheel.bench.links import BenchLink, SimulatedLink
from edgewheel.bench.measured_stage import stage_words, with_measured_stage
from edgewheel.bench.plan import BoardChoice, Plan, SimulatedController
from edgewheel.bench.ports import PortLink
from edgewheel.board.discovery import only_board
from edgewheel.clock import PacedClock, WallClock
from edgewheel.edges.pins import PinMaker
from edgewheel.edges.stage import OutputStage
from edgewheel.errors import BenchError
from edgewheel.fault.pipeline import Pipeline
from edgewheel.link import greeting
from edgewheel.link.events import Connected, LinkFailed
from edgewheel.link.hostrun import RunOrder
from edgewheel.link.welcome import Welcome

LEAD_MS = 2
"""From START to table tick 0, beside what the output stage needs."""


class Rig:
    """Plays plans, one at a time. `abort` may be called from a signal handler or another thread."""

    def __init__(self) -> None:
        self._abort = False
        self.pipeline: Pipeline | None = None
        self.pins: PinMaker | None = None
        self.stage: dict[str, str] = {}
        """Where the numbers of each track's output stage were from."""
        self.board = ""
        """Which board played last, in words: its kind, id and firmware."""

    def abort(self) -> None:
        """Park the outputs and end the run that is going on; between runs, the next one as soon as
        it begins.
        """
        self._abort = True

    def run(self, plan: Plan) -> Iterator[Event]:
        """Play a plan; yields what happens, `Finished` last.

        However it ends, the outputs are parked. Raises BenchError when board or cable fail,
        UsageError when the table cannot be played.
        """
        link = open_link(plan)
        try:
            welcome = self._connect(link)
            self.board = named(welcome)
            yield from self._play(plan, link, welcome)
        finally:
            link.close()
            self._abort = False

    def _connect(self, link: BenchLink) -> Welcome:
        while True:
            for event in link.step().events:
                if isinstance(event, LinkFailed):
                    raise event.error
                if isinstance(event, Connected):
                    return event.welcome

    def _play(self, plan: Plan, link: BenchLink, welcome: Welcome) -> Iterator[Event]:
        plan = with_measured_stage(plan, welcome)
        self.stage = stage_words(plan)
        stage = plan.output_stage(welcome.tick_hz)
        lead = lead_ticks(stage, welcome)
        switch = _switch(plan)
        if plan.feed is not None and switch is None:
            lead += round(plan.feed.lead_s * welcome.tick_hz)
        self.pipeline = Pipeline(plan.signal, welcome.tick_hz, plan.number_lines)
        self.pins, source = self.pipeline.pins(
            stage, lead, welcome.shortest_hold_ticks, plan.supply
        )
        rest = rest_mask(link)
        follower = Follower(plan, welcome.tick_hz, lead, link.input_names, rest)
        if switch is not None:
            switch.before(lambda: self._abort)
        lag, waves = plan.transitions_per_cycle, plan.waves(welcome.tick_hz)
        link.order(RunOrder(self.pins.header, source, lag_hint=lag, waves=waves))
        while follower.finished is None:
            if self._abort and not follower.aborted:
                follower.aborted = True
                link.park()
            heard = link.step()
            if switch is not None and follower.origin is not None:
                switch.during((heard.tick - follower.origin) / welcome.tick_hz)
            for event in follower.take(heard):
                if isinstance(event, Finished):
                    yield Understood(link.tally(), link.clock())
                yield event


def _switch(plan: Plan) -> CommandSwitch | None:
    """The commands that switch the supply of a real controller."""
    if plan.feed is None or plan.feed.command is None or plan.supply is not None:
        return None
    return CommandSwitch(plan.feed, plan.feed.command, WallClock())


def open_link(plan: Plan, clock: PacedClock | None = None) -> BenchLink:
    """The link to the plan's board and controller; a simulated bench goes by `clock`.

    Raises BenchError, UsageError.
    """
    if plan.board.kind == "sim":
        return SimulatedLink(plan, clock)
    if plan.board.kind == "auto" and not isinstance(plan.controller, SimulatedController):
        plan = replace(plan, board=BoardChoice("port", only_board()))
    return PortLink(plan)


def named(welcome: Welcome) -> str:
    """Which board that is, in words: its kind, id and firmware."""
    return f"{greeting.describe(welcome)}, firmware {welcome.firmware}"


def lead_ticks(stage: OutputStage, welcome: Welcome) -> int:
    """The run tick of table tick 0. Raises BenchError if the board has too few outputs."""
    if len(stage.inverts) > welcome.outputs:
        raise BenchError(
            f"The tracks of the wheel and what else the bench plays take {len(stage.inverts)} "
            f"outputs, the board has {welcome.outputs}. Choose a wheel of fewer tracks, leave out "
            "'feed', 'run_out' and 'weak_signal', which take the others, or take another board."
        )
    return max(LEAD_MS * welcome.tick_hz // 1000, welcome.first_tick) + stage.longest_ticks


def rest_mask(link: BenchLink) -> int:
    """The board's inputs while the controller rests."""
    return sum(level << line for line, level in enumerate(link.rest_levels))

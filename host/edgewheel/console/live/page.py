"""The bench: what turns, what is on the pins, what the controller says, what to try next."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual import events, on
from textual.binding import Binding, BindingType
from textual.containers import Container
from textual.widget import Widget
from textual.widgets import DataTable

from edgewheel.bench.live.state import FaultState
from edgewheel.console.live.controller import ControllerPane
from edgewheel.console.live.events import EventsPane
from edgewheel.console.live.faults import FaultsPane
from edgewheel.console.live.log import LogPane
from edgewheel.console.live.pulses import PulsesPane
from edgewheel.console.live.wheel import WheelPane
from edgewheel.console.numbers import kind_of, numbers_of
from edgewheel.console.page import USUAL_WIDTH, Page

if TYPE_CHECKING:
    from edgewheel.console.dialogs.speed import SpeedAnswer

FINE_RPM, COARSE_RPM = 10, 250
USUAL_RATE = "500"
OTHERS = "f Faults · c Controller · p Pulses · l Lines · v Events"


class LivePage(Page):
    """The first page."""

    MODE = "bench"
    ABOUT = (
        "A digit begins a speed; u and d change it coarsely, + and - "
        "finely, m by a ramp. F5 turns the engine, F8 parks the outputs, from any "
        "place and at once."
    )
    AUTO_FOCUS = "#fault-list"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("o", "once", "Once", tooltip="Fire the armed fault once", id="fault-once"),
        Binding("h", "hold", "Hold", tooltip="Hold the armed fault, or let go", id="fault-hold"),
        Binding("e", "numbers", "Numbers", tooltip="The armed fault's numbers", id="fault-numbers"),
        Binding("m", "ramp", "Ramp", tooltip="Go to a speed by a ramp", id="speed-ramp"),
        Binding(
            "plus,equals_sign",
            f"step({FINE_RPM})",
            "Faster",
            show=False,
            tooltip=f"{FINE_RPM} rpm faster",
            id="faster-fine",
        ),
        Binding(
            "minus",
            f"step(-{FINE_RPM})",
            "Slower",
            show=False,
            tooltip=f"{FINE_RPM} rpm slower",
            id="slower-fine",
        ),
        Binding(
            "u",
            f"step({COARSE_RPM})",
            "Up",
            tooltip=f"{COARSE_RPM} rpm faster",
            id="faster-coarse",
        ),
        Binding(
            "d",
            f"step(-{COARSE_RPM})",
            "Down",
            tooltip=f"{COARSE_RPM} rpm slower",
            id="slower-coarse",
        ),
        Binding("w", "wheel", "Wheel", tooltip="Choose another wheel", id="choose-wheel"),
        Binding("b", "bench", "File", show=False, tooltip="Open a bench file", id="choose-bench"),
        Binding("k", "board", "Board", show=False, tooltip="Choose a board", id="choose-board"),
        Binding("f", "pane('faults')", "Faults", show=False, id="go-faults"),
        Binding("c", "pane('controller')", "Controller", show=False, id="go-controller"),
        Binding("p", "pane('pulses')", "Captured pulses", show=False, id="go-pulses"),
        Binding("l", "pane('log')", "Raw lines", show=False, id="go-lines"),
        Binding("v", "pane('events')", "Events", show=False, id="go-events"),
        Binding(
            "s",
            "still",
            "Hold still",
            show=False,
            tooltip="Hold the raw lines still, or let them go on",
            id="lines-still",
        ),
        Binding(
            "slash",
            "search",
            "Search",
            show=False,
            tooltip="Search the raw lines",
            id="lines-search",
        ),
    ]

    def body(self) -> Iterable[Widget]:
        yield WheelPane("wheel")
        with Container(id="panes"):
            yield FaultsPane("faults")
            yield ControllerPane("controller")
            yield PulsesPane("pulses")
            yield LogPane("log")
            yield EventsPane("events")

    def on_mount(self) -> None:
        self.query_one("#faults").add_class("-current")

    def on_resize(self, event: events.Resize) -> None:
        """Where one pane is seen at a time, its border names the others."""
        narrow = event.size.width < USUAL_WIDTH
        for pane in self.query("#panes > .pane"):
            pane.border_subtitle = OTHERS if narrow else ""

    def begins(self, event: events.Key) -> bool:
        """A digit begins a speed, the key for it a ramp; whether this one does."""
        character = event.character or ""
        if character.isdecimal():
            self._ask_speed(character, "")
            return True
        active = self.active_bindings.get(event.key)
        if active is not None and active.binding.action == "ramp":
            self.action_ramp()
            return True
        return False

    def action_pane(self, pane_id: str) -> None:
        """Bring a pane on the screen; events and raw lines share a place where there is no more."""
        if pane_id in ("log", "events"):
            self.set_class(pane_id == "events", "-events")
        super().action_pane(pane_id)

    def action_step(self, by_rpm: int) -> None:
        """A step faster or slower."""
        self.console.do(lambda: self.console.desk.step(by_rpm))

    def action_ramp(self) -> None:
        """Ask for a speed and a rate."""
        self._ask_speed("", USUAL_RATE)

    def action_once(self) -> None:
        """Fire the armed fault once."""
        name = self._armed()
        if name is not None:
            self.console.do(lambda: self.console.desk.fault(name, FaultState.ONCE))

    def action_hold(self) -> None:
        """Hold the armed fault, or let go of it."""
        name = self._armed()
        if name is None:
            return
        held = self.console.desk.player.state.faults[name] is FaultState.HELD
        state = FaultState.OFF if held else FaultState.HELD
        self.console.do(lambda: self.console.desk.fault(name, state))

    @on(DataTable.RowSelected, "#fault-list")
    def action_numbers(self) -> None:
        """Open the numbers of the armed fault."""
        from edgewheel.console.dialogs.numbers import NumbersDialog
        from edgewheel.fault.examples import description

        name, desk = self._armed(), self.console.desk
        if name is None:
            return
        document = desk.plan.document
        about = description(kind_of(document, name)).partition("\n\n")[0]
        meaning = about.replace("\n", " ").replace("`", "")
        self.app.push_screen(NumbersDialog(name, meaning, numbers_of(document, name), desk.edit))

    def action_wheel(self) -> None:
        """Choose another wheel."""
        from edgewheel.console.choosing import choose_wheel

        choose_wheel(self)

    def action_bench(self) -> None:
        """Open another bench file."""
        from edgewheel.console.choosing import choose_bench

        choose_bench(self)

    def action_board(self) -> None:
        """Choose another board."""
        from edgewheel.console.choosing import choose_board

        choose_board(self)

    def action_still(self) -> None:
        """Hold the raw lines still, or let them go on."""
        self.action_pane("log")
        self.query_one(LogPane).hold_still()

    def action_search(self) -> None:
        """Search the raw lines."""
        self.action_pane("log")
        self.call_after_refresh(self.query_one(LogPane).search)

    def _armed(self) -> str | None:
        return self.query_one(FaultsPane).armed

    def _ask_speed(self, typed: str, rate: str) -> None:
        from edgewheel.console.dialogs.speed import SpeedDialog

        self.app.push_screen(SpeedDialog(typed, rate), self._take_speed)

    def _take_speed(self, answer: SpeedAnswer | None) -> None:
        if answer is not None:
            self.console.do(lambda: self.console.desk.speed(answer.rpm, answer.rpm_per_s))

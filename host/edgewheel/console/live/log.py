"""What the controller says, line by line as it came; held still and searched by a key."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual import on
from textual.app import ComposeResult
from textual.content import Content
from textual.widgets import Input, Log

from edgewheel.console.drawn import Drawn
from edgewheel.console.pane import Pane
from edgewheel.console.rawlog import MOST_LINES, RawLog

if TYPE_CHECKING:
    from edgewheel.console.desk import View


class LogPane(Pane):
    """The last lines. The record keeps all."""

    NAME, KEY = "Raw lines", "l"
    ABOUT = (
        f"The controller's own lines as they came, the last {MOST_LINES}. s holds them"
        " still and lets them go on, / shows only lines that hold some words; an "
        "empty search shows all again. The run folder keeps every byte in controller.log."
    )

    def compose(self) -> ComposeResult:
        yield Drawn(id="tail", markup=False)
        yield Log(id="lines", max_lines=MOST_LINES, classes="hidden")
        yield Input(id="search", placeholder="show only lines with …", classes="hidden")

    def on_mount(self) -> None:
        self._log: RawLog | None = None
        self.query_one("#tail").can_focus = True

    def show(self, view: View) -> None:
        self._log = view.watch.log
        tail = self.query_one("#tail", Drawn)
        if not self.still:
            tail.draw(Content("\n".join(self._log.last(tail.size.height, self._words))))
        self.name_it(("HELD STILL (s)" if self.still else "s still") + self._told)

    @property
    def still(self) -> bool:
        """Whether the lines are held still; then one can look back through all of them."""
        return not self._lines.has_class("hidden")

    def hold_still(self) -> None:
        """Stop the lines, or let them go on with what has come meanwhile."""
        was = self.still
        self._lines.set_class(was, "hidden")
        self.query_one("#tail").set_class(not was, "hidden")
        self._fill()
        self.go()

    def search(self) -> None:
        """Ask for words."""
        field = self.query_one("#search", Input)
        field.remove_class("hidden")
        field.focus()

    @on(Input.Changed, "#search")
    def _search_changed(self) -> None:
        self._fill()

    @on(Input.Submitted, "#search")
    def _search_over(self, event: Input.Submitted) -> None:
        if not event.value:
            event.input.add_class("hidden")
        self.go()

    def go(self) -> None:
        (self._lines if self.still else self.query_one("#tail")).focus()

    def _fill(self) -> None:
        """The lines to look back through; none while they go on."""
        self._lines.clear()
        if self.still and self._log is not None:
            self._lines.write_lines(self._log.last(MOST_LINES, self._words))

    @property
    def _words(self) -> str:
        return self.query_one("#search", Input).value

    @property
    def _told(self) -> str:
        return f" · with '{self._words}' (/)" if self._words else " · / search"

    @property
    def _lines(self) -> Log:
        return self.query_one("#lines", Log)

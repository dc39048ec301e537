"""What the controller says, line by line as it came; held still and searched by a key."""

from __future__ import annotations

from textual import on
from textual.app import ComposeResult
from textual.widgets import Input, Log

from edgewheel.console.desk import View
from edgewheel.console.pane import Pane
from edgewheel.console.rawlog import RawLog

MOST_SHOWN = 1000
AT_ONCE = 50
"""Lines drawn at one look; of more, the last are seen."""


class LogPane(Pane):
    """The last lines. The record keeps all."""

    NAME, KEY = "Raw lines", "l"
    ABOUT = (
        f"The controller's own lines as they came, the last {MOST_SHOWN}. s holds them"
        " still and lets them go on, / shows only lines that hold some words; an "
        "empty search shows all again. The run folder keeps every byte in controller.log."
    )

    def compose(self) -> ComposeResult:
        yield Log(id="lines", max_lines=MOST_SHOWN)
        yield Input(id="search", placeholder="show only lines with …", classes="hidden")

    def on_mount(self) -> None:
        self._log: RawLog | None = None
        self._seen = 0
        self.still = False

    def show(self, view: View) -> None:
        if self._log is not view.watch.log:
            self._log, self._seen = view.watch.log, 0
            self._lines.clear()
        if not self.still:
            lines = self._log.since(self._seen, AT_ONCE, self._words)
            self._seen = self._log.count
            if lines:
                self._lines.write_lines(lines)
        self.name_it(("HELD STILL (s)" if self.still else "s still") + self._told)

    def hold_still(self) -> None:
        """Stop the lines, or let them go on with what has come meanwhile."""
        self.still = not self.still
        if not self.still:
            self._fill()

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
        self._lines.focus()

    def go(self) -> None:
        self._lines.focus()

    def _fill(self) -> None:
        self._lines.clear()
        if self._log is not None:
            self._lines.write_lines(self._log.since(0, MOST_SHOWN, self._words))
            self._seen = self._log.count

    @property
    def _words(self) -> str:
        return self.query_one("#search", Input).value

    @property
    def _told(self) -> str:
        return f" · with '{self._words}' (/)" if self._words else " · / search"

    @property
    def _lines(self) -> Log:
        return self.query_one("#lines", Log)

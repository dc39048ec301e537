"""What happened: sync found and lost, courses taken, boards lost and found."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.widgets import Log

from edgewheel.console.pane import Pane
from edgewheel.console.watch import MOST_NOTES, Watch

if TYPE_CHECKING:
    from edgewheel.console.desk import View


class EventsPane(Pane):
    """A line for each thing worth one."""

    NAME, KEY = "Events", "v"
    ABOUT = (
        "What happened in this run, the last lines of it: seconds of the run, speed, and "
        "what it was. The run folder keeps all of it."
    )

    def compose(self) -> ComposeResult:
        yield Log(id="notes", max_lines=MOST_NOTES)

    def on_mount(self) -> None:
        self._watch: Watch | None = None
        self._seen = 0

    def show(self, view: View) -> None:
        notes = self.query_one("#notes", Log)
        if self._watch is not view.watch:
            self._watch, self._seen = view.watch, 0
            notes.clear()
        fresh = min(view.watch.note_count - self._seen, len(view.watch.notes))
        if fresh:
            notes.write_lines(list(view.watch.notes)[-fresh:])
            self._seen = view.watch.note_count

    def go(self) -> None:
        self.query_one("#notes", Log).focus()

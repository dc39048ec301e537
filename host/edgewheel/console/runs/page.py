"""Recorded runs: list, read, compare, export, open the report."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual import on, work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import DataTable, Static

from edgewheel.console.mistake import Mistake
from edgewheel.console.page import Page
from edgewheel.console.pane import Pane
from edgewheel.errors import EdgewheelError

if TYPE_CHECKING:
    from edgewheel.console.runs.listing import Listed

HINT = (
    "Enter reads a record, s draws the signal around its first loss, o opens its report, c marks "
    "one and then compares with another."
)
VERDICTS = {"passed": "✓", "failed": "✗", "error": "!", "aborted": "■", "marginal": "△"}


class ListPane(Pane):
    """The records, the newest first."""

    NAME, KEY = "Runs", "r looks again"
    ABOUT = (
        "Every folder that a run or a search has left, the newest first. An unfinished record "
        "has no summary: its run was killed, or is still going on."
    )

    def compose(self) -> ComposeResult:
        yield DataTable(id="run-list", cursor_type="row", cell_padding=1, show_header=False)

    def on_mount(self) -> None:
        table = self.query_one("#run-list", DataTable)
        for name, width in (("began", 19), ("kind", 9), ("verdict", 12), ("name", None)):
            table.add_column(name, key=name, width=width)

    def fill(self, found: list[Listed]) -> None:
        """Put the records into the list; the cursor stays on its own, or on the newest."""
        table = self.query_one("#run-list", DataTable)
        before = self.chosen if table.cursor_row > 0 else None
        table.clear()
        for one in found:
            verdict = f"{VERDICTS.get(one.verdict, '·')} {one.verdict}"
            table.add_row(one.began, one.kind, verdict, one.name, key=str(one.folder))
        if before is not None and str(before) in table.rows:
            table.move_cursor(row=table.get_row_index(str(before)))
        self.name_it("1 record" if len(found) == 1 else f"{len(found)} records")

    @property
    def chosen(self) -> Path | None:
        """The folder of the row with the cursor."""
        table = self.query_one("#run-list", DataTable)
        if not table.row_count:
            return None
        return Path(str(table.coordinate_to_cell_key(table.cursor_coordinate).row_key.value))


class ToldPane(Pane):
    """What a record says."""

    NAME, KEY = "Record", "Enter"
    ABOUT = (
        "The report of a record without its pictures; o opens the page that has them. s draws the "
        "signal around the first loss of a run, or at the limit that a search found: each track "
        "as it was on its pin, and below it what a sound wheel gives where that differs. ▼ is the "
        "loss, ▲ an edge that was misread; a shaded cell holds pulses too short to be drawn. Tab "
        "goes to the record, arrows scroll it."
    )

    def compose(self) -> ComposeResult:
        with VerticalScroll(id="told"):
            yield Static(HINT, id="told-text", markup=False)

    def tell(self, title: str, text: str) -> None:
        """Show a text from its beginning."""
        self.query_one("#told-text", Static).update(text)
        self.query_one("#told").scroll_home(animate=False)
        self.name_it(title)


class RunsPage(Page):
    """The third page."""

    MODE = "runs"
    AUTO_FOCUS = "#run-list"
    ABOUT = "Records are read from the folder that was given with --runs."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("o", "report", "Report", tooltip="Make the report and open it", id="run-report"),
        Binding(
            "s",
            "signal",
            "Signal",
            tooltip="The signal around the first loss, misread edges marked",
            id="run-signal",
        ),
        Binding("c", "compare", "Compare", tooltip="Mark a record, then compare", id="run-compare"),
        Binding("x", "export", "CSV", tooltip="Export the run as CSV", id="run-export"),
        Binding("r", "again", "Look again", tooltip="Read the list again", id="runs-again"),
        Binding("e", "read", "Read", tooltip="Read a record", show=False, id="run-read"),
    ]

    def body(self) -> Iterable[Widget]:
        yield ListPane("runs")
        yield ToldPane("record")

    def on_mount(self) -> None:
        self._marked: Path | None = None

    def on_screen_resume(self) -> None:
        """Coming to the page reads the list."""
        self.call_after_refresh(self.action_again)

    @work(thread=True, exclusive=True, group="list")
    def action_again(self) -> None:
        """Read the list in a thread of its own."""
        from edgewheel.console.runs.listing import records

        found = records(self.console.desk.runs)
        self.app.call_from_thread(self.query_one(ListPane).fill, found)

    @on(DataTable.RowSelected, "#run-list")
    def action_read(self) -> None:
        """Read the record with the cursor."""
        from edgewheel.console.runs.told import told

        self._with_chosen("read", told)

    def action_report(self) -> None:
        """Make the report and open it where there is a desktop."""
        from edgewheel.console.runs.told import report_file

        def made(folder: Path) -> str:
            page = report_file(folder)
            if has_desktop():
                self.app.call_from_thread(self.app.open_url, page.as_uri())
                return f"Opened: {page}"
            return f"The report is made; open it in a browser:\n{page}"

        self._with_chosen("report", made)

    def action_signal(self) -> None:
        """Draw the signal around the first loss."""
        from edgewheel.console.runs.told import signal

        width = self.query_one("#told-text").size.width
        self._with_chosen("signal", lambda folder: signal(folder, width))

    def action_export(self) -> None:
        """Write the run as CSV beside its record."""
        from edgewheel.console.runs.told import csv_file

        self._with_chosen("export", lambda folder: f"Written: {csv_file(folder)}")

    def action_compare(self) -> None:
        """Mark a record; with one marked, compare."""
        from edgewheel.console.runs.told import compared

        chosen, marked = self.query_one(ListPane).chosen, self._marked
        if chosen is None:
            return
        if marked is None or marked == chosen:
            self._marked = chosen
            self._tell("marked", f"Marked: {chosen.name}\nGo to another record and press c.")
            return
        self._marked = None
        self._with_chosen("compared", lambda folder: compared(marked, folder))

    def _with_chosen(self, title: str, make: Callable[[Path], str]) -> None:
        chosen = self.query_one(ListPane).chosen
        if chosen is not None:
            title = f"{title} · {chosen.name}"
            self._tell(title, "…")
            self._make(title, chosen, make)

    @work(thread=True, exclusive=True, group="record", exit_on_error=False)
    def _make(self, title: str, folder: Path, make: Callable[[Path], str]) -> None:
        try:
            text = make(folder)
        except (EdgewheelError, OSError) as error:
            text = str(error)
        except Exception as error:
            # The engine may turn meanwhile: a record that cannot be read is no reason to park it.
            text = Mistake.of(error).told()
        self.app.call_from_thread(self._tell, title, text)

    def _tell(self, title: str, text: str) -> None:
        self.query_one(ToldPane).tell(title, text)


def has_desktop() -> bool:
    """Whether a browser would have a window of its own, not this terminal."""
    names = ("DISPLAY", "WAYLAND_DISPLAY")
    return sys.platform != "linux" or any(os.environ.get(name) for name in names)

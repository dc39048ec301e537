"""Searches: choose one, see how far it is and what it has found so far."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar, cast

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Log, ProgressBar, Static

from edgewheel.console.page import Page
from edgewheel.console.pane import Pane

if TYPE_CHECKING:
    from edgewheel.console.desk import View
    from edgewheel.console.host import Host
    from edgewheel.console.search.job import Running, Stage

NOTHING_YET = (
    "s Sweep       at which speed sync drops, and where it comes back\n"
    "t Threshold   the value of one number at which the controller fails\n"
    "e Envelope    where sync holds over two numbers\n"
    "d Diagnose    which setting of the controller is wrong\n"
    "q Qualify     a whole suite of tests, each against its limit\n"
    "r Go on       with a search that was stopped, or lost its bench\n\n"
    "A search plays the bench file as it lies on the desk, held faults included; a suite plays the "
    "one that its plan names. The engine is parked first, for the bench is then the search's own; "
    "F8 stops it."
)


class FoundPane(Pane):
    """The search that is going on, or the last one."""

    NAME, KEY = "Search", "s t e d q"
    ABOUT = (
        "○ is a point or trial in which sync held, ✗ one in which it did not; the picture grows "
        "with each. The record in the run folder can be opened on the page of runs. A search that "
        "was stopped, or lost its bench, goes on from its last trial by r, and by the command "
        "line's --resume; a sweep is one run and begins anew."
    )

    def compose(self) -> ComposeResult:
        yield Static(NOTHING_YET, id="answer", markup=False)
        yield ProgressBar(total=1.0, show_eta=False, id="bar", classes="hidden")
        yield Static(id="picture")
        yield Log(id="results", max_lines=2000)

    def on_mount(self) -> None:
        self._shown: tuple[Running, Stage] | None = None
        self._lines: tuple[str, ...] = ()

    def show(self, view: View) -> None:
        running = cast("Host", self.app).running
        if running is None:
            return
        picture = self.query_one("#picture", Static)
        running.job.size = picture.size
        stage = running.stage
        if self._shown is None or self._shown[0] is not running:
            self._lines = ()
            self.query_one("#results", Log).clear()
            self.query_one("#bar").remove_class("hidden")
            self.query_one("#answer").add_class("-short")
        self.query_one("#bar", ProgressBar).update(progress=stage.share)
        self.query_one("#answer", Static).update(Content(_head(running)))
        if self._shown != (running, stage):
            picture.update(Content("\n".join(stage.picture)))
            picture.set_class(not stage.picture and bool(stage.lines), "hidden")
            self._list(stage, running.job.fills_in)
        self._shown = running, stage
        self.name_it(f"{running.job.name} · {running.job.folder.name}")

    def _list(self, stage: Stage, fills_in: bool) -> None:
        """New lines at the end, or a table written anew, its last change in the middle."""
        results, before = self.query_one("#results", Log), self._lines
        self._lines = stage.lines
        if not fills_in:
            results.write_lines(stage.lines[len(before) :])
        elif stage.lines != before:
            pairs = enumerate(zip(before, stage.lines, strict=False))
            changed = [place for place, (old, new) in pairs if old != new]
            results.clear()
            results.write_lines(stage.lines, scroll_end=False)
            above = (changed[-1] if changed else 0) - results.size.height // 2
            results.scroll_to(y=max(above, 0), animate=False)


class SearchPage(Page):
    """The second page."""

    MODE = "search"
    AUTO_FOCUS = "#results"
    ABOUT = (
        "A search plays the bench file as it lies on the desk, held faults included; a suite plays "
        "the one that its plan names."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("s", "ask('sweep')", "Sweep", tooltip="Where sync drops over speed", id="sweep"),
        Binding(
            "t",
            "ask('threshold')",
            "Threshold",
            tooltip="The value of one number at which the controller fails",
            id="threshold",
        ),
        Binding(
            "e",
            "ask('envelope')",
            "Envelope",
            tooltip="Where sync holds over two numbers",
            id="envelope",
        ),
        Binding(
            "d",
            "ask('diagnose')",
            "Diagnose",
            tooltip="Which setting of the controller is wrong",
            id="diagnose",
        ),
        Binding("q", "ask('qualify')", "Qualify", tooltip="A whole suite of tests", id="qualify"),
        Binding(
            "r",
            "resume",
            "Go on",
            show=False,
            tooltip="Go on with the search that was stopped",
            id="search-resume",
        ),
    ]

    def body(self) -> Iterable[Widget]:
        yield FoundPane("found")

    def action_ask(self, kind: str) -> None:
        """Ask what the search needs to know, then begin it."""
        from edgewheel.console.search.ask import Asking

        console = self.console
        if self._is_free():
            asking = Asking(console.desk, console.begin)
            console.do(lambda: asking.ask(kind, self.app))

    def action_resume(self) -> None:
        """Go on with the search that was stopped, as it was asked for then."""
        console, last = self.console, self.console.running
        if not self._is_free():
            return
        if last is None or not last.can_go_on:
            self.notify("There is no stopped search to go on with; a sweep begins anew.")
        else:
            console.do(lambda: console.begin(last.rest(), last.stage.share))

    def _is_free(self) -> bool:
        if self.console.is_searching:
            self.notify("A search is going on. F8 stops it.", severity="warning")
        return not self.console.is_searching


def _head(running: Running) -> str:
    stage = running.stage
    if running.over:
        return stage.answer or "It ended with nothing to say."
    doing = f"{running.job.name}: {stage.doing or 'begins'}"
    return " · ".join(filter(None, [doing, running.left, "F8 stops it"]))

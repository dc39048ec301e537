"""What all pages share: the lines at the top, the way between panes, the keys at the bottom."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar, cast

from textual.app import ComposeResult
from textual.binding import ActiveBinding
from textual.content import Content
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Footer

from edgewheel.console.drawn import Drawn
from edgewheel.console.pane import Pane
from edgewheel.console.status import Status

if TYPE_CHECKING:
    from edgewheel.console.desk import View
    from edgewheel.console.host import Host

USUAL_WIDTH, WIDE_WIDTH = 100, 160
"""Columns from which on there is room for several panes, and for all."""

READING = "… READING THE BENCH FILE"
"""What stands at the top until there is something to say."""

PAGES = (("bench", "F2", "Bench"), ("search", "F3", "Search"), ("runs", "F4", "Runs"))


class Tabs(Drawn):
    """The names of the pages; a click goes to one."""

    def __init__(self, mode: str) -> None:
        super().__init__(classes="tabs")
        self._mode = mode

    def on_mount(self) -> None:
        self._mark("")

    def show(self, view: View) -> None:
        """Name the bench file and the board."""
        board = view.plan.board.port or f"board {view.plan.board.kind}"
        self._mark(f"{view.plan.name} · {board}")

    def _mark(self, words: str) -> None:
        """Mark the page that is seen."""
        parts: list[Content | str] = []
        for mode, key, name in PAGES:
            style = "reverse bold" if mode == self._mode else ""
            label = Content.styled(f" {key} {name} ", style)
            parts += [label.stylize(f"@click=app.page('{mode}')"), " "]
        parts.append(Content.styled(words, "$text-muted"))
        self.draw(Content.assemble(*parts))


class Page(Screen[None]):
    """A page. Where there is no room for all panes, the current one is seen."""

    HORIZONTAL_BREAKPOINTS = [  # noqa: RUF012
        (0, "-narrow"),
        (USUAL_WIDTH, "-usual"),
        (WIDE_WIDTH, "-wide"),
    ]
    MODE: ClassVar[str] = ""
    ABOUT: ClassVar[str] = ""

    def compose(self) -> ComposeResult:
        yield Tabs(self.MODE)
        yield Status(READING, classes="status")
        yield from self.body()
        yield Footer(show_command_palette=False, compact=True)

    def body(self) -> Iterable[Widget]:
        """The panes."""
        return ()

    @property
    def console(self) -> Host:
        """The application."""
        return cast("Host", self.app)

    def show(self, view: View) -> None:
        """Draw how things stand, in what is on screen."""
        self.query_one(Tabs).show(view)
        self.query_one(Status).show(view)
        for pane in self.panes:
            if pane.display and pane.region:
                pane.show(view)

    def action_pane(self, pane_id: str) -> None:
        """Bring a pane on the screen and go to it."""
        for pane in self.panes:
            pane.set_class(pane.id == pane_id, "-current")
        self.call_after_refresh(self.query_one(f"#{pane_id}", Pane).go)

    @property
    def active_bindings(self) -> dict[str, ActiveBinding]:
        """Those of the application first, so that the key that parks is always seen."""
        found = super().active_bindings
        own = {key: one for key, one in found.items() if one.node is not self.app}
        everywhere = {key: one for key, one in found.items() if one.node is self.app}
        return everywhere | own

    @property
    def panes(self) -> list[Pane]:
        """All of them, also those that are not on screen."""
        return list(self.query(Pane))

    @property
    def current(self) -> Pane | None:
        """The pane that one is in."""
        focused = self.focused
        for node in focused.ancestors_with_self if focused else ():
            if isinstance(node, Pane):
                return node
        return next((pane for pane in self.panes if pane.has_class("-current")), None)

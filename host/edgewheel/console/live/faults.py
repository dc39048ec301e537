"""The faults that lie ready: one of them is armed, fires once or is held, and has its numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.content import Content

from edgewheel.bench.live.state import FaultState, LivePhase
from edgewheel.console import marks
from edgewheel.console.numbers import numbers_of
from edgewheel.console.pane import Pane
from edgewheel.console.rows import RowsTable

if TYPE_CHECKING:
    from edgewheel.bench.plan import Plan
    from edgewheel.console.desk import View


class FaultsPane(Pane):
    """The list. The row with the cursor is the fault that is armed."""

    NAME, KEY = "Faults", "f"
    ABOUT = (
        "The faults of the bench file, then one of each kind that lies ready. The row "
        "with the cursor is armed: o fires it once at the next possible place, h "
        "holds it until h is pressed again, Enter opens its numbers, which may "
        "change while it is held."
    )

    def compose(self) -> ComposeResult:
        yield RowsTable(id="fault-list", cursor_type="row", cell_padding=1, show_header=False)

    def on_mount(self) -> None:
        table = self._table
        table.add_column("state", key="state", width=5)
        table.add_column("name", key="name", width=15)
        table.add_column("numbers", key="numbers")
        self._plan: Plan | None = None
        self._seen: tuple[object, ...] = ()

    @property
    def armed(self) -> str | None:
        """The name of the fault that the keys act on."""
        table = self._table
        if not table.row_count:
            return None
        return table.coordinate_to_cell_key(table.cursor_coordinate).row_key.value

    def show(self, view: View) -> None:
        state = view.state
        seen = (state.faults, state.active, state.phase)
        if view.plan is not self._plan or seen != self._seen:
            self._plan, self._seen = view.plan, seen
            self._table.fill({name: _row(view, name) for name in state.faults})
        self.name_it(f"{self.armed}: o once · h hold · Enter numbers" if self.armed else "")

    def go(self) -> None:
        self._table.focus()

    @property
    def _table(self) -> RowsTable:
        return self.query_one(RowsTable)


def _row(view: View, name: str) -> tuple[Content, str, str]:
    word, style = marks.FAULTS[view.state.faults[name]]
    waits = view.state.phase is LivePhase.TURNING and name not in view.state.active
    if view.state.faults[name] is FaultState.HELD and waits:
        word = "waits"
    pairs = (f"{number.key} {number.text}" for number in numbers_of(view.plan.document, name))
    return Content.styled(word, style), name, "  ".join(pairs)

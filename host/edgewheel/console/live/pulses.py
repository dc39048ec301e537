"""The controller's outputs against the true crank angle, as they come."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.app import ComposeResult

from edgewheel.console.pane import Pane
from edgewheel.console.rows import RowsTable
from edgewheel.console.watch import LATELY_S

if TYPE_CHECKING:
    from edgewheel.console.desk import View
    from edgewheel.console.pulses import PulseRow

LOOKS_A_ROW = 5
"""Looks at the bench for one reckoning."""

COLUMNS = {"output": 10, "what": 9, "TDC -": 8, "error": 8, "scatter": 8, "dwell": 9, "n": 4}
"""Names and widths. "TDC -" is the angle before top dead centre."""


class PulsesPane(Pane):
    """Angle, dwell and scatter of each output."""

    NAME, KEY = "Captured pulses", "p"
    ABOUT = (
        f"Each output of the controller over the last {LATELY_S:g} seconds, or two cycles of the "
        "engine where they last longer: the angle "
        "before the top dead centre that it belongs to, how far that is from the angle "
        "commanded (positive is too early), its scatter, and the time that the coil "
        "charges or the injector is open. What each output is stands in the bench file "
        "under signals.outputs."
    )

    def compose(self) -> ComposeResult:
        yield RowsTable(id="pulse-list", cursor_type="none", cell_padding=0)

    def on_mount(self) -> None:
        table = self._table
        for name, width in COLUMNS.items():
            table.add_column(name, key=name, width=width)
        self._looks = 0

    def show(self, view: View) -> None:
        self._looks += 1
        if self._looks % LOOKS_A_ROW and self._table.row_count:
            return
        from edgewheel.console.pulses import pulse_rows

        rows = pulse_rows(view.plan, view.watch, view.motion, view.state)
        self._table.fill({row.name: _cells(row) for row in rows})
        self.name_it("" if rows else "none declared")

    def go(self) -> None:
        self._table.focus()

    @property
    def _table(self) -> RowsTable:
        return self.query_one(RowsTable)


def _cells(row: PulseRow) -> tuple[str, ...]:
    return (
        row.name,
        row.kind,
        _number(row.before_deg, "6.1f", "°"),
        _number(row.error_deg, "+6.1f", "°"),
        _number(row.scatter_deg, "6.2f", "°"),
        _number(row.lasts_ms, "5.2f", " ms"),
        f"{row.count:3d}",
    )


def _number(value: float | None, form: str, unit: str) -> str:
    return "   –" if value is None else f"{value:{form}}{unit}"

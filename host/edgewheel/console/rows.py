"""A table that is given whole, again and again, and draws only the cells that are others."""

from __future__ import annotations

from collections.abc import Mapping

from textual.content import Content
from textual.widgets import DataTable

Cell = str | Content


class RowsTable(DataTable[Cell]):
    """Rows by their keys; columns must be there, each with a key, in the order of the cells."""

    def on_mount(self) -> None:
        self._cells: dict[str, tuple[Cell, ...]] = {}

    def fill(self, rows: Mapping[str, tuple[Cell, ...]]) -> None:
        """Show these rows, in this order."""
        before, self._cells = self._cells, dict(rows)
        if list(before) != list(rows):
            self.clear()
            for key, cells in rows.items():
                self.add_row(*cells, key=key)
            return
        for key, cells in rows.items():
            for column, old, new in zip(self.columns, before[key], cells, strict=True):
                if old != new:
                    self.update_cell(key, column, new)

"""A few values, each in a field."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.suggester import SuggestFromList
from textual.widgets import Input, Label

from edgewheel.console.dialogs.dialog import Dialog
from edgewheel.errors import EdgewheelError


@dataclass(frozen=True)
class Field:
    """One value: its name, what stands there at first, and what may be meant by a beginning."""

    name: str
    text: str
    known: tuple[str, ...] = ()


class FormDialog(Dialog[bool]):
    """Enter gives all values to `take`; what that refuses is said and can be mended."""

    KEYS_TEXT = "Enter begins · Tab to the next · → completes · Esc leaves it"

    def __init__(self, title: str, fields: list[Field], take: Callable[[list[str]], None]) -> None:
        super().__init__()
        self._title = title
        self._fields = fields
        self._take = take

    @property
    def title_text(self) -> str:
        return self._title

    def inside(self) -> ComposeResult:
        for field in self._fields:
            with Horizontal(classes="field"):
                yield Label(field.name, markup=False)
                suggester = SuggestFromList(field.known) if field.known else None
                yield Input(field.text, compact=True, suggester=suggester)

    @on(Input.Submitted)
    def take(self) -> None:
        """All values at once."""
        try:
            self._take([field.value.strip() for field in self.query(Input)])
        except EdgewheelError as error:
            self.complain(str(error))
        else:
            self.dismiss(True)

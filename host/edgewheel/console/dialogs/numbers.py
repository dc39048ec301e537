"""The numbers of a fault, each in a field."""

from __future__ import annotations

from collections.abc import Callable

from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal, VerticalScroll
from textual.widgets import Input, Label

from edgewheel.console.dialogs.dialog import Dialog
from edgewheel.console.numbers import Number
from edgewheel.errors import EdgewheelError

Edit = Callable[[str, str], None]
"""Sets a number by its address. Raises EdgewheelError with a sentence if it cannot be."""


class NumbersDialog(Dialog[bool]):
    """Enter in a field sets its number at once, on the pins too; what cannot be is said below."""

    KEYS_TEXT = "Enter sets a number at once · Tab to the next · Esc closes"

    def __init__(self, fault: str, meaning: str, numbers: list[Number], edit: Edit) -> None:
        super().__init__()
        self._fault = fault
        self._meaning = meaning
        self._numbers = numbers
        self._set = {f"n{place}": number.text for place, number in enumerate(numbers)}
        self._edit = edit

    @property
    def title_text(self) -> str:
        return f"Numbers of {self._fault}"

    def inside(self) -> ComposeResult:
        yield Label(self._meaning, classes="quiet", markup=False)
        with VerticalScroll(classes="fields", can_focus=False):
            for place, number in enumerate(self._numbers):
                with Horizontal(classes="field"):
                    yield Label(number.key, markup=False)
                    yield Input(number.text, id=f"n{place}", compact=True)

    @on(Input.Submitted)
    def take(self, event: Input.Submitted) -> None:
        """Set a number, and go to the next field."""
        if self._apply(event.input):
            self.complain(f"set: {self._numbers[int(event.input.id[1:])].key} {event.value}")  # type: ignore[index]
            self.focus_next(Input)

    @on(Input.Blurred)
    def leave_field(self, event: Input.Blurred) -> None:
        """A number that was changed counts when its field is left, too."""
        self._apply(event.input)

    def _apply(self, field: Input) -> bool:
        assert field.id is not None
        if field.value == self._set[field.id]:
            return True
        number = self._numbers[int(field.id[1:])]
        try:
            self._edit(number.address, field.value)
        except EdgewheelError as error:
            self.complain(str(error))
            return False
        self._set[field.id] = field.value
        return True

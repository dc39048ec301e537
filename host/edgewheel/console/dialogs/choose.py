"""One of many by name: typing narrows the list."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rich.cells import cell_len
from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.widgets import Input, OptionList
from textual.widgets.option_list import Option

from edgewheel.console.dialogs.dialog import Dialog


@dataclass(frozen=True)
class Choice:
    """What is chosen, and a few words on it."""

    name: str
    about: str = ""


class ChooseDialog(Dialog[str]):
    """A field that narrows the list below; where `free`, what is typed may be the answer."""

    KEYS_TEXT = "Type to narrow · ↑ ↓ · Enter takes it · Esc leaves it"
    BINDINGS = [  # noqa: RUF012
        Binding("down", "move(1)", show=False),
        Binding("up", "move(-1)", show=False),
        Binding("pagedown", "move(8)", show=False),
        Binding("pageup", "move(-8)", show=False),
    ]

    def __init__(self, title: str, choices: Sequence[Choice], free: bool = False) -> None:
        super().__init__()
        self._title = title
        self._choices = choices
        self._free = free

    @property
    def title_text(self) -> str:
        return self._title

    def inside(self) -> ComposeResult:
        yield Input(id="wanted", placeholder="name or part of it")
        options = OptionList(id="choices", markup=False)
        options.can_focus = False
        yield options

    def on_mount(self) -> None:
        self._narrow("")

    @on(Input.Changed, "#wanted")
    def changed(self, event: Input.Changed) -> None:
        self._narrow(event.value)

    @on(Input.Submitted, "#wanted")
    def submitted(self, event: Input.Submitted) -> None:
        """The line with the cursor, or what was typed where that is allowed."""
        options = self.query_one("#choices", OptionList)
        if options.highlighted is not None:
            self.dismiss(options.get_option_at_index(options.highlighted).id)
        elif self._free and event.value.strip():
            self.dismiss(event.value.strip())
        else:
            self.complain("Nothing is called so.")

    @on(OptionList.OptionSelected)
    def clicked(self, event: OptionList.OptionSelected) -> None:
        self.dismiss(event.option.id)

    def action_move(self, by: int) -> None:
        """Up and down the list while typing."""
        options = self.query_one("#choices", OptionList)
        if options.option_count:
            now = options.highlighted or 0
            options.highlighted = min(max(now + by, 0), options.option_count - 1)

    def _narrow(self, typed: str) -> None:
        words = typed.lower().split()
        found = [
            choice
            for choice in self._choices
            if all(word in f"{choice.name} {choice.about}".lower() for word in words)
        ]
        begins = "-".join(words)
        found.sort(key=lambda choice: not choice.name.lower().startswith(begins))
        options = self.query_one("#choices", OptionList)
        options.clear_options()
        wide = max((cell_len(choice.name) for choice in found), default=0)
        options.add_options(
            Option(f"{choice.name:{wide}s}  {choice.about}", id=choice.name) for choice in found
        )
        options.highlighted = 0 if found else None

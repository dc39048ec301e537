"""Keys that are typed before the dialogue that they begin stands there.

A terminal hands over `3000` and Enter faster than a dialogue is made. Each of those keys belongs to
the number; given to the page, it would begin a dialogue of its own or do something else.
"""

from __future__ import annotations

from collections.abc import Sequence

from textual import events
from textual.widgets import Input


class EarlyKeys:
    """Keeps what is typed for a dialogue, in order, until its field takes it."""

    def __init__(self) -> None:
        self._keys: list[events.Key] = []

    def keep(self, event: events.Key) -> bool:
        """Keep a key that is part of a number or ends it; whether it is one."""
        part = event.is_printable or event.key in ("enter", "backspace", "tab")
        if part:
            self._keys.append(event)
        return part

    def give(self, fields: Sequence[Input]) -> bool:
        """Type what was kept into the fields, the first to begin with; whether Enter ended it."""
        kept, self._keys = self._keys, []
        place = 0
        for event in kept:
            if event.key == "enter":
                return True
            if event.key == "tab":
                place = (place + 1) % len(fields)
                fields[place].focus()
                fields[place].clear()
            elif event.key == "backspace":
                fields[place].action_delete_left()
            elif event.character is not None:
                fields[place].insert_text_at_cursor(event.character)
        return False

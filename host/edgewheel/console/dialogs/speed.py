"""A speed to be at, at once or by a ramp."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from textual import events, on
from textual.app import ComposeResult
from textual.widgets import Input, Label

from edgewheel.console.dialogs.dialog import Dialog
from edgewheel.console.early import EarlyKeys
from edgewheel.motion.segment import HIGHEST_RPM
from edgewheel.yamlfile import parse_number


@dataclass(frozen=True)
class SpeedAnswer:
    """Speed in rpm; rate in rpm a second, None for at once."""

    rpm: Fraction
    rpm_per_s: Fraction | None


class SpeedDialog(Dialog[SpeedAnswer]):
    """Two fields; an empty rate means at once."""

    TITLE_TEXT = "Speed"

    def __init__(self, typed: str, rate: str) -> None:
        super().__init__()
        self._typed = typed
        self._rate = rate
        self._early: EarlyKeys | None = EarlyKeys()

    def on_mount(self) -> None:
        self.call_after_refresh(self._begin)

    def takes_early(self, event: events.Key) -> bool:
        """Keep a key that came before the fields stood; whether it was one of theirs."""
        return self._early is not None and self._early.keep(event)

    def _begin(self) -> None:
        early, self._early = self._early, None
        if early is not None and early.give(list(self.query(Input))):
            self.take()

    def inside(self) -> ComposeResult:
        yield Label("rpm")
        yield Input(self._typed, id="rpm", select_on_focus=False)
        yield Label("ramp, rpm a second (empty: at once)")
        yield Input(self._rate, id="rate")

    @on(Input.Submitted)
    def take(self) -> None:
        """Take both numbers, if they are some."""
        rpm = parse_number(self.query_one("#rpm", Input).value)
        text = self.query_one("#rate", Input).value.strip()
        rate = parse_number(text) if text else None
        if rpm is None or not 0 <= rpm <= HIGHEST_RPM:
            self.complain(f"Write a speed from 0 to {HIGHEST_RPM}.")
        elif text and (rate is None or rate <= 0):
            self.complain("Write a rate above 0, or leave it empty.")
        else:
            self.dismiss(SpeedAnswer(rpm, rate))

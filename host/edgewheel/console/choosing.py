"""The dialogues that put another wheel, board or bench file on the desk."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from edgewheel.bench.plan import SimulatedController
from edgewheel.console import choices
from edgewheel.console.dialogs.choose import Choice, ChooseDialog

if TYPE_CHECKING:
    from edgewheel.console.page import Page

SET_FOR_IT = "The simulated controller is set for this wheel, as its sheet says."
KEEPS_ITS_OWN = (
    "The simulated controller keeps its settings. Diagnose (F3, d) says which of them do not fit "
    "this wheel."
)


def choose_wheel(page: Page) -> None:
    """Put another wheel on the bench."""

    def use(name: str) -> None:
        desk = page.console.desk
        if desk.use_wheel(name):
            page.notify(SET_FOR_IT)
        elif isinstance(desk.plan.controller, SimulatedController):
            page.notify(KEEPS_ITS_OWN, timeout=8)

    _choose(page, "Wheel", choices.wheels(), use)


def choose_board(page: Page) -> None:
    """Take another board."""
    _choose(page, "Board", choices.boards(), page.console.desk.use_board, free=True)


def choose_bench(page: Page) -> None:
    """Open another bench file."""
    files = choices.bench_files(Path.cwd())
    _choose(page, "Bench file", files, lambda name: page.console.desk.open(Path(name)), free=True)


def _choose(
    page: Page,
    title: str,
    offered: Sequence[Choice],
    take: Callable[[str], None],
    free: bool = False,
) -> None:
    def chosen(name: str | None) -> None:
        if name is not None:
            page.console.do(lambda: take(name))

    page.app.push_screen(ChooseDialog(title, offered, free), chosen)

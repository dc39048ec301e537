"""The dialogues that put another wheel, board or bench file on the desk."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from edgewheel.bench.plan import SimulatedController
from edgewheel.console import choices
from edgewheel.console.dialogs.choose import Choice, ChooseDialog

if TYPE_CHECKING:
    from edgewheel.console.app import ConsoleApp

SET_FOR_IT = "The simulated controller is set for this wheel, as its sheet says."
KEEPS_ITS_OWN = (
    "The simulated controller keeps its settings. Diagnose (F3, d) says which of them do not fit "
    "this wheel."
)


def choose_wheel(app: ConsoleApp) -> None:
    """Put another wheel on the bench."""

    def use(name: str) -> None:
        if app.desk.use_wheel(name):
            app.notify(SET_FOR_IT)
        elif isinstance(app.desk.plan.controller, SimulatedController):
            app.notify(KEEPS_ITS_OWN, timeout=8)

    _choose(app, "Wheel", choices.wheels(), use)


def choose_board(app: ConsoleApp) -> None:
    """Take another board."""
    _choose(app, "Board", choices.boards(), app.desk.use_board, free=True)


def choose_bench(app: ConsoleApp) -> None:
    """Open another bench file."""
    files = choices.bench_files(Path.cwd())
    _choose(app, "Bench file", files, lambda name: app.desk.open(Path(name)), free=True)


def _choose(
    app: ConsoleApp,
    title: str,
    offered: Sequence[Choice],
    take: Callable[[str], None],
    free: bool = False,
) -> None:
    def chosen(name: str | None) -> None:
        if name is not None:
            app.do(lambda: take(name))

    app.push_screen(ChooseDialog(title, offered, free), chosen)

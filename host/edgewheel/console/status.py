"""The lines at the top of every page: what turns, what the controller says, what is wrong."""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING

from textual.content import Content

from edgewheel.bench.live.state import FaultState, LivePhase, LiveState
from edgewheel.console import marks
from edgewheel.console.drawn import Drawn

if TYPE_CHECKING:
    from edgewheel.console.desk import View

PARTED = "   "
LEAST_WIDTH = 20


class Status(Drawn):
    """Phase, speeds, sync and faults; always in sight, under dialogues too."""

    def show(self, view: View) -> None:
        """Draw how things stand."""
        if view.state.phase is LivePhase.LOST:
            lines = [speeds(view), *lost(view.state.why, self.size.width)]
        else:
            lines = [speeds(view), middle(view), faults(view)]
        self.draw(Content("\n").join(lines))


def speeds(view: View) -> Content:
    """The speed that is set, the one on the pins, the one that the controller reports."""
    state = view.state
    turning = state.phase is LivePhase.TURNING
    pins = marks.rpm(state.pin_rpm if turning else None if view.search else 0.0)
    reported = marks.rpm(state.reported_rpm if turning else None)
    return Content.assemble(
        marks.SEARCHING if view.search else marks.phase(state),
        PARTED,
        ("set ", "$text-muted"),
        (f"{float(view.wish_rpm):g} rpm", "bold"),
        PARTED,
        ("on the pins ", "$text-muted"),
        (pins, "bold"),
        PARTED,
        ("reported ", "$text-muted"),
        (reported, "bold"),
    )


def lost(why: str, width: int) -> list[Content]:
    """Why there is no board, on the two lines that say nothing without one."""
    lines = wrap(why, max(width, LEAST_WIDTH), max_lines=2, placeholder=" …")
    return [Content.styled(line, "$text-error") for line in lines]


def middle(view: View) -> Content:
    """What has the bench, or will: the controller's word comes when it can have one."""
    if view.search:
        return searching(view)
    if view.waits_for:
        return Content.styled(f"{view.waits_for} · F8 parks", "bold $text-warning")
    return controller(view.state)


def searching(view: View) -> Content:
    """A search plays on the pins, at speeds of its own."""
    return Content.styled(f"{view.search} · F8 stops it and parks · F3 shows it", "bold")


def controller(state: LiveState) -> Content:
    """Sync in a word, losses, and the last of them; what to press where nothing turns yet."""
    if state.phase is LivePhase.CLOSED:
        return Content.styled("F5 turns the engine · a number and Enter set its speed", "bold")
    return Content.assemble(
        marks.sync(state),
        PARTED,
        ("losses ", "$text-muted"),
        (str(state.losses), "bold"),
        PARTED,
        ("last ", "$text-muted"),
        marks.last_loss(state),
    )


def faults(view: View) -> Content:
    """What is on the pins that does not belong there."""
    state = view.state
    held = [name for name, one in state.faults.items() if one is not FaultState.OFF]
    if not held:
        return Content.styled("no fault", "$text-muted")
    on_pins = set(state.active) if state.phase is LivePhase.TURNING else set()
    if view.search and view.search_plays_desk:
        on_pins = set(held)
    words = [f"{name} {_how(state, name, name in on_pins)}" for name in held]
    return Content.assemble(("faults ", "$text-muted"), ("  ".join(words), "bold $text-warning"))


def _how(state: LiveState, name: str, on_pins: bool) -> str:
    word = marks.FAULTS[state.faults[name]][0]
    return word if on_pins or state.faults[name] is FaultState.ONCE else f"{word}, not on the pins"

"""The words, signs and colours of states; no state is told by colour alone."""

from __future__ import annotations

from textual.content import Content

from edgewheel.bench.live.state import FaultState, LivePhase, LiveState

PHASES = {
    LivePhase.CLOSED: ("■ PARKED", "$text-muted"),
    LivePhase.CONNECTING: ("… CONNECTING", "$text-warning"),
    LivePhase.TURNING: ("▶ TURNING", "$text-success"),
    LivePhase.PARKED: ("■ PARKED", "$text-muted"),
    LivePhase.LOST: ("✗ BOARD LOST", "bold $text-error"),
}

SEARCHING = Content.styled("▶ A SEARCH HAS IT", "$text-success")
"""Instead of the phase, while a search has the bench."""

FAULTS = {
    FaultState.OFF: ("off", "dim"),
    FaultState.ONCE: ("once", "$text-warning"),
    FaultState.HELD: ("HELD", "bold $text-warning"),
}


def phase(state: LiveState) -> Content:
    """What the bench does, in a word."""
    return Content.styled(*PHASES[state.phase])


def sync(state: LiveState) -> Content:
    """Whether the controller has sync, in a word."""
    if state.phase is not LivePhase.TURNING:
        return Content.styled("– no signal", "$text-muted")
    if state.synced is None:
        return Content.styled("? it says nothing", "$text-warning")
    if state.synced:
        return Content.styled("✓ SYNC", "bold $text-success")
    return Content.styled("✗ NO SYNC", "bold $text-error")


def last_loss(state: LiveState) -> str:
    """The last loss of this run on one line."""
    if state.last_loss is None:
        return "none"
    return f"{state.last_loss.seconds:.3f} s, {state.last_loss.reason}"


def rpm(value: float | None) -> str:
    """A speed, or that nobody knows it."""
    return "–" if value is None else f"{value:.0f}"

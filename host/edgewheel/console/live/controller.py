"""What the controller makes of the signal: sync, losses, and its speed against the true one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.content import Content

from edgewheel.console import marks
from edgewheel.console.chart import LABEL, bounds, chart
from edgewheel.console.drawn import Drawn
from edgewheel.console.pane import Pane
from edgewheel.console.watch import SPEED_S, TICKS_PER_S, Speeds

if TYPE_CHECKING:
    from edgewheel.console.desk import View
    from edgewheel.console.watch import Watch

TRUE, REPORTED, BOTH = "─", "●", "━"
NEAR = 0.01
"""Speeds that differ by less are drawn as one."""


class ControllerPane(Pane):
    """Sync in a word, losses with time and reason, and half a minute of both speeds."""

    NAME, KEY = "Controller", "c"
    ABOUT = (
        f"What the controller says. The picture shows the last {SPEED_S} seconds: {TRUE} "
        f"is the true speed on the pins, {REPORTED} the one that it reports, {BOTH} both "
        "where they agree. A loss counts when the controller says so, when its counter "
        "steps, when its speed is wrong for too long, when it falls silent, or when its "
        "sparks stand at the wrong angle."
    )

    def compose(self) -> ComposeResult:
        yield Drawn(id="sync")
        yield Drawn(id="speeds")

    def on_mount(self) -> None:
        self._charted: tuple[object, ...] = ()
        self.name_it(f"last {SPEED_S} s: {TRUE} true  {REPORTED} reported  {BOTH} both")

    def show(self, view: View) -> None:
        state = view.state
        words = Content.assemble(
            marks.sync(state),
            f"   losses {state.losses}\n",
            ("last ", "$text-muted"),
            marks.last_loss(state),
        )
        self.query_one("#sync", Drawn).draw(words)
        self._chart(view.watch)

    def _chart(self, watch: Watch) -> None:
        """Both speeds, if there is a new one or another room for them."""
        picture, speeds = self.query_one("#speeds", Drawn), watch.speeds
        charted = (watch, speeds[-1] if speeds else None, picture.size)
        if charted != self._charted:
            self._charted = charted
            lines = speed_lines(list(speeds), *picture.size)
            picture.draw(Content("\n".join(lines)))


def speed_lines(speeds: list[Speeds], width: int, height: int) -> list[str]:
    """Both speeds over time, a column for so many looks at the bench."""
    columns = max(width - LABEL - 1, 1)
    per_column = max(-(-SPEED_S * TICKS_PER_S // columns), 1)
    bins = [speeds[at : at + per_column] for at in range(0, len(speeds), per_column)]
    last = [part[-1] for part in bins]
    agree = [_agree(one) for one in last]
    true = [None if both else one.pin_rpm for one, both in zip(last, agree, strict=True)]
    reported = [None if both else one.reported_rpm for one, both in zip(last, agree, strict=True)]
    both = [one.pin_rpm if same else None for one, same in zip(last, agree, strict=True)]
    ends = bounds([rpm for one in last for rpm in (0.8 * one.pin_rpm, 1.2 * one.pin_rpm)])
    return chart([(TRUE, true), (REPORTED, reported), (BOTH, both)], width, max(height, 2), ends)


def _agree(one: Speeds) -> bool:
    if one.reported_rpm is None:
        return False
    return abs(one.reported_rpm - one.pin_rpm) <= NEAR * max(one.pin_rpm, 1.0)

"""The wheel's tracks against crank angle, with a cursor that turns with the engine."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.content import Content

from edgewheel.bench.live.state import LivePhase
from edgewheel.console.drawn import Drawn
from edgewheel.console.pane import Pane
from edgewheel.console.strip import LABEL, Strip, strips

if TYPE_CHECKING:
    from edgewheel.console.desk import View
    from edgewheel.wheel.model import Wheel

CURSOR = "▲"


class WheelPane(Pane):
    """Teeth as blocks, top dead centres as triangles, the crank as an arrow below them."""

    NAME, KEY = "Wheel", "w: another"
    ABOUT = (
        "The tracks of the wheel against crank angle: a block is metal under the sensor. "
        "▼ marks the top dead centre of a cylinder, ▲ the crank, which stands still while"
        " the bench is parked. A wheel whose teeth would not be told apart is drawn one "
        "turn below the other."
    )

    def compose(self) -> ComposeResult:
        yield Drawn(id="strips")

    def on_mount(self) -> None:
        self._drawn: tuple[Wheel, int, int] | None = None
        self._strips: tuple[Strip, ...] = ()

    def show(self, view: View) -> None:
        room = self.content_size
        key = (view.plan.wheel, room.width, room.height)
        if key != self._drawn:
            self._drawn = key
            self._strips = strips(view.plan.wheel, room.width, room.height)
            self.name_it(view.plan.wheel.name)
        turning = view.state.phase is LivePhase.TURNING
        crank_deg = view.state.crank_deg % view.plan.wheel.period
        lines = [line for strip in self._strips for line in _lines(strip, crank_deg, turning)]
        self.query_one("#strips", Drawn).draw(Content("\n").join(lines))


def _lines(strip: Strip, crank_deg: float, turning: bool) -> list[Content]:
    column = strip.cursor(crank_deg)
    ruler = Content.styled(strip.marks, "$text-muted")
    if column is not None:
        style = "bold $text-success" if turning else "bold"
        ruler = Content.assemble(
            ruler[:column], (CURSOR, style), ruler[column + 1 :], (f" {crank_deg:3.0f}°", style)
        )
    lines = [Content.assemble((f"{strip.begin_deg:>{LABEL - 1}d}° ", "$text-muted"), ruler)]
    for name, cells in strip.rows:
        track = Content.styled(cells, "$text-primary")
        if column is not None:
            track = track.stylize("reverse", column, column + 1)
        lines.append(Content.assemble((f"{name:{LABEL}s} ", "$text-muted"), track))
    return lines

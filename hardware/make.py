"""Writes everything that follows from the stages' source: `python hardware/make.py`.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from circuit.circuit import Circuit
from circuit.lists import bill, netlist, table
from circuit.rules import check
from circuit.sheet import Sheet
from circuit.spice import deck
from drawings.feed import draw_feed
from drawings.hall import draw_hall
from drawings.inputs import draw_inputs
from drawings.reluctor import draw_reluctor
from drawings.signals import draw_signals
from drawings.supply import draw_supply
from drawings.wiring import wirings
from simulate.acceptance import STAGES
from simulate.delays import stage_delays
from simulate.scope import scope_pictures
from stages.board import board, connections
from stages.feed import feed
from stages.hall import hall
from stages.inputs import controller_input
from stages.reluctor import reluctor
from stages.signals import signals
from stages.supply import supply

ROOT = Path(__file__).resolve().parent
SHIPPED = ROOT.parent / "host/edgewheel/board/stage_delays.yaml"

SOURCES: dict[str, tuple[Callable[[], Circuit], Callable[[Circuit], Sheet]]] = {
    "hall": (hall, draw_hall),
    "vr": (reluctor, draw_reluctor),
    "input": (controller_input, draw_inputs),
    "feed": (feed, draw_feed),
    "signals": (signals, draw_signals),
    "supply": (supply, draw_supply),
}


def figures() -> str:
    """What the simulation says of each stage, with the limits, to three digits."""
    rows = [
        (stage, found.what, f"{found.value:.3g}", found.unit, f"{found.low:g}", f"{found.high:g}")
        for stage, (build, _) in SOURCES.items()
        for found in STAGES[stage](build())
    ]
    return table(("stage", "simulated", "value", "unit", "least", "most"), rows)


def written() -> dict[str, str]:
    """The generated files that need no simulation, by name."""
    whole = board()
    texts = {
        "board.net": netlist(whole),
        "bill-of-materials.csv": bill(whole),
        "connections.csv": connections(),
    }
    for name, (build, draw) in SOURCES.items():
        stage = build()
        texts[f"{name}.cir"] = (
            f"* {stage.title}; jumpers open; models: simulate/models.py\n" + deck(stage)
        )
        texts[f"{name}.svg"] = draw(stage).svg()
    return texts | wirings()


def simulated() -> dict[str, str]:
    """The generated files that ngspice has a part in."""
    return {"stage-delays.yaml": stage_delays(), "figures.csv": figures()} | scope_pictures()


def main() -> None:
    broken = check(board(), whole=True)
    if broken:
        raise SystemExit("\n".join(broken))
    for name, text in (written() | simulated()).items():
        (ROOT / "generated" / name).write_text(text)
    SHIPPED.write_text((ROOT / "generated/stage-delays.yaml").read_text())


if __name__ == "__main__":
    main()

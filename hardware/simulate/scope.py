"""The pictures that a first look with an oscilloscope should give, drawn from simulation.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

import numpy as np

from simulate import hall_edges, input_edges, power, reluctor_waves
from simulate.ngspice import Array
from stages.feed import feed
from stages.hall import hall
from stages.inputs import controller_input
from stages.reluctor import reluctor

_WIDTH, _HEIGHT, _DIVISIONS = 640, 320, (10, 8)
_INKS = ("#00508c", "#b03a00", "#2a7a2a")


def picture(
    title: str, time: Array, traces: dict[str, Array], window: tuple[float, float], volts: float
) -> str:
    """Ten divisions of time by eight of `volts`, zero on the middle line."""
    start, end = window
    cell_x, cell_y = _WIDTH / _DIVISIONS[0], _HEIGHT / _DIVISIONS[1]
    per_division = (end - start) / _DIVISIONS[0]
    unit, scale = ("us", 1e6) if per_division < 0.99e-3 else ("ms", 1e3)
    scales = f"{per_division * scale:g} {unit} and {volts:g} V a division; zero in the middle"
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH + 40}" height="{_HEIGHT + 110}" '
        'font-family="sans-serif" font-size="13">',
        '<rect width="100%" height="100%" fill="white"/>',
        f'<text x="20" y="22" font-size="15">{title}: simulated, never measured</text>',
        f'<g transform="translate(20 34)" stroke="#bbb"><rect width="{_WIDTH}" '
        f'height="{_HEIGHT}" fill="none"/>',
    ]
    for n in range(1, _DIVISIONS[0]):
        lines.append(f'<path d="M{n * cell_x:g} 0V{_HEIGHT}"/>')
    for n in range(1, _DIVISIONS[1]):
        ink = ' stroke="#555"' if n == _DIVISIONS[1] // 2 else ""
        lines.append(f'<path d="M0 {n * cell_y:g}H{_WIDTH}"{ink}/>')
    grid = np.linspace(start, end, _WIDTH + 1)
    for ink, signal in zip(_INKS, traces.values(), strict=False):
        level = _HEIGHT / 2 - np.interp(grid, time, signal) / volts * cell_y
        points = " ".join(f"{x},{y:.0f}" for x, y in enumerate(level))
        lines.append(f'<polyline points="{points}" fill="none" stroke="{ink}" stroke-width="2"/>')
    lines.append("</g>")
    for n, (ink, name) in enumerate(zip(_INKS, traces, strict=False)):
        lines.append(f'<text x="{20 + 220 * n}" y="{_HEIGHT + 58}" fill="{ink}">{name}</text>')
    lines.append(f'<text x="20" y="{_HEIGHT + 84}">{scales}</text></svg>')
    return "\n".join(lines) + "\n"


def scope_pictures() -> dict[str, str]:
    """File names with their drawings."""
    edge = hall_edges.waves(hall(), 5, 1000)
    rpm = 1000.0
    vr = reluctor_waves.play(reluctor(), rpm)
    line = input_edges.waves(controller_input(), "open collector, pull-up here")
    on = power.feed_on(feed())
    return {
        "scope-hall.svg": picture(
            "Hall output, 5 V, 1k, cable and 1 nF",
            edge.time,
            {"board's pin": edge["v(pin)"], "line at the controller": edge["v(far)"]},
            (0, 100e-6),
            2,
        ),
        "scope-vr.svg": picture(
            "VR output at 1000 rpm, with a gap",
            vr.time,
            {"VR": vr["v(vr)"], "VR+ against VR-": vr["v(vrp)"] - vr["v(vrm)"]},
            (12 / rpm, 22 / rpm),
            0.5,
        ),
        "scope-input.svg": picture(
            "Input, open collector, pull-up here",
            line.time,
            {"line": line["v(line)"], "board's pin": line["v(pin)"]},
            (0, 80e-6),
            5,
        ),
        "scope-feed.svg": picture(
            "Feed into 6 ohm and 1000 uF",
            on.time,
            {"board's pin": on["v(pin)"], "15": on["v(15)"]},
            (0, 20e-3),
            5,
        ),
    }

"""What the stages do to an edge, as a table that programs read: the defaults until measured.

SPDX-License-Identifier: CERN-OHL-P-2.0
"""

from __future__ import annotations

from simulate.hall_edges import USUAL_LOAD, edges, waves
from simulate.reluctor_waves import CORNER_HZ, FULL_SCALE_RPM, play, played
from stages.hall import PULL_UP_JUMPERS, RAIL_JUMPERS, hall
from stages.reluctor import reluctor

LEADS = {"VR": "grounded", "VR+": "floating"}
"""What the table calls the VR stage's outputs."""

_HEAD = f"""\
# Written by hardware/make.py from simulation with typical parts at 25 degrees; never measured.
# Delays from the edge at the board's pin to half of the swing at the controller's end, in
# microseconds; rise and fall are those of the controller's line.
# vr: 16-bit codes become volts at full scale (10k load); the crossing is late by delay_us, and a
# high-pass of corner_hz leads at low speed, which the codes make up for (PROTOCOL.md, section 7).
# hall: by rail (V), then pull-up (ohm); load: {USUAL_LOAD}.
format: 1
simulated: true
hall:
"""


def stage_delays() -> str:
    """The table as YAML."""
    lines = []
    for rail in RAIL_JUMPERS:
        lines.append(f"  {rail}:")
        for pull_up in PULL_UP_JUMPERS:
            found = edges(waves(hall(), rail, pull_up))
            rise, fall = round(found.rise * 1e6, 2), round(found.fall * 1e6, 2)
            lines.append(f"    {pull_up}: {{rise_us: {rise}, fall_us: {fall}, inverts: true}}")
    lines.append("vr:")
    for output, name in LEADS.items():
        corner = CORNER_HZ[output]
        at_once = played(play(reluctor(), 2000, corner), 2000, output)
        full = at_once.amplitude * FULL_SCALE_RPM / 2000
        late = at_once.late.mean() * 1e6
        lines.append(
            f"  {name}: {{full_scale_v: {full:.1f}, delay_us: {late:.1f}, "
            f"corner_hz: {corner}, inverts: true}}"
        )
    return _HEAD + "\n".join(lines) + "\n"

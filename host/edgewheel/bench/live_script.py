"""The bench file of a live run, with the course that was really taken as its motion.

So whatever reads the run folder later, timing above all, knows where the crank was.
"""

from __future__ import annotations

from fractions import Fraction

from edgewheel.motion.motion import Motion, Placed
from edgewheel.yamlfile import Node, flow

NOTE = """\
# The motion below is the course that was taken live. Faults stand here as in the bench file;
# when each was on the pins says summary.json.
"""


def script_of(document: Node, motion: Motion, end_s: Fraction) -> str:
    """The text of the bench file with a motion, up to its end."""
    taken = motion.until(end_s) if end_s < motion.end_s else motion
    nodes = dict(document.section().nodes)
    before = nodes.pop("motion", None)
    kept = before.content if before is not None and isinstance(before.content, dict) else {}
    lines = [f"{key}: {flow(node)}" for key, node in nodes.items()]
    lines.append("motion:")
    lines += [f"  {key}: {flow(node)}" for key, node in kept.items() if key in ("ripple", "cams")]
    lines += [f"  start: {motion.start_deg}"]
    lines += ["  segments:", *(f"    - {_segment(taken[n])}" for n in range(len(taken)))]
    return NOTE + "\n".join(lines) + "\n"


def _segment(placed: Placed) -> str:
    one = placed.segment
    if one.rpm_begin == one.rpm_end:
        return f"{{hold: {one.rpm_end}, seconds: {one.seconds}}}"
    return f"{{ramp: {one.rpm_end}, from: {one.rpm_begin}, seconds: {one.seconds}}}"

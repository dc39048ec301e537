"""The bench file of a live run: the course that was really taken as its motion, the faults with
the times at which they were on the pins as their windows.

So whatever reads the run folder later knows where the crank was, and plays the same edges again.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction

from edgewheel.bench.live.faults import Switched, has_window, windowed
from edgewheel.fault.model import Fault
from edgewheel.fault.writing import written
from edgewheel.motion.motion import Motion, Placed
from edgewheel.yamlfile import Node, flow

NOTE = """\
# The course that was taken live, and the faults with the times at which they were on the pins.
"""


Stretches = Mapping[str, Sequence[Switched]]
"""Of each fault of the bench file when it was on the pins, in the order of the file."""


def script_of(
    document: Node, motion: Motion, end_s: Fraction, faults: Mapping[str, Fault], on: Stretches
) -> str:
    """The text of the bench file with a motion, up to its end, and the faults as they were `on`."""
    taken = motion.until(end_s) if end_s < motion.end_s else motion
    nodes = dict(document.section().nodes)
    nodes.pop("faults", None)
    before = nodes.pop("motion", None)
    kept = before.content if before is not None and isinstance(before.content, dict) else {}
    why = not_again(on)
    lines = [
        *([f"# {why}"] if why else []),
        *(f"{key}: {flow(node)}" for key, node in nodes.items()),
    ]
    lines.append("motion:")
    lines += [f"  {key}: {flow(node)}" for key, node in kept.items() if key in ("ripple", "cams")]
    lines += [f"  start: {motion.start_deg}"]
    lines += ["  segments:", *(f"    - {_segment(taken[n])}" for n in range(len(taken)))]
    if faults:
        lines += ["faults:", *(f"  {one}" for one in _faults(faults, on, end_s))]
    return NOTE + "\n".join(lines) + "\n"


def not_again(on: Stretches) -> str:
    """Why the file does not give the edges that were on the pins; empty if it does.

    A fault of the wheel has no window: a wheel is bent or it is not.
    """
    names = [name for name, stretches in on.items() if any(map(_changed_wheel, stretches))]
    if not names:
        return ""
    return (
        f"The wheel itself was changed while it turned ({', '.join(names)}), which no bench file "
        "can say, so this run cannot be played again as it was: hold such a fault from the start."
    )


def _changed_wheel(one: Switched) -> bool:
    return not has_window(one.fault) and (one.from_s, one.to_s) != (None, None)


def _faults(faults: Mapping[str, Fault], on: Stretches, end_s: Fraction) -> Iterator[str]:
    """A line for each time that a fault was there, or one that says that it never was."""
    for name, fault in faults.items():
        there = [one for one in on.get(name, ()) if one.begun(end_s) and not _changed_wheel(one)]
        if not there:
            yield f"{_key(name)}: {written(fault, off=True)}"
        for number, one in enumerate(there, 1):
            shown = windowed(one) if has_window(one.fault) else one.fault
            yield f"{_key(name if number == 1 else f'{name}/{number}')}: {written(shown)}"


def _key(name: str) -> str:
    return json.dumps(name, ensure_ascii=False)


def _segment(placed: Placed) -> str:
    one = placed.segment
    if one.rpm_begin == one.rpm_end:
        return f"{{hold: {one.rpm_end}, seconds: {one.seconds}}}"
    return f"{{ramp: {one.rpm_end}, from: {one.rpm_begin}, seconds: {one.seconds}}}"

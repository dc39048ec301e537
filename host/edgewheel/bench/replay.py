"""Captures on the bench: what was measured at the customer's engine is played edge for edge."""

from __future__ import annotations

import io
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from edgewheel.bench.plan import Plan
from edgewheel.edges.captures.capture import Capture, write_capture
from edgewheel.edges.captures.playback import Playback
from edgewheel.edges.captures.read import read_capture
from edgewheel.errors import UsageError
from edgewheel.learn.known_wheel import known_motion
from edgewheel.yamlfile import Node

MOST_COPIED = 500_000
"""Edges of a capture that go into the run folder."""


def with_capture_of(plan: Plan, node: Node, path: Path) -> Plan:
    """The plan with what its bench file says below `capture:`, a file or a mapping.

    Raises FileError; UsageError where motion or faults are given, too.
    """
    if isinstance(node.content, str):
        return with_capture(plan, read_capture(path.parent / node.text()))
    section = node.section()
    file = section.required("file")
    speed = section.optional("speed")
    tracks = section.optional("tracks")
    capture = read_capture(path.parent / file.text())
    if tracks is not None:
        names = {
            name: one.choice(capture.header.tracks) for name, one in tracks.section().nodes.items()
        }
        capture = capture.renamed({own: name for name, own in names.items()})
    section.finish()
    return with_capture(plan, capture, speed.number(above=0) if speed else Fraction(1))


def with_capture(plan: Plan, capture: Capture, speed: Fraction = Fraction(1)) -> Plan:
    """The plan that plays a capture, `speed` times as fast, instead of its wheel under a motion.

    Its wheel says what the capture is of, and so where the crank is; where that is not to be found
    in it, only speed is judged, not where sparks stand.
    """
    if len(plan.signal.motion) or plan.signal.faults:
        raise UsageError(
            "A capture is played as it is, so motion and faults have no place beside it. Take them "
            "out of the bench file, or 'capture:'."
        )
    known = known_motion(capture, plan.wheel, speed)
    signal = replace(
        plan.signal, motion=known.motion, capture=Playback(capture, known.tracks, speed)
    )
    signals = plan.signals if known.positioned else replace(plan.signals, sparks={})
    return replace(plan, signal=signal, signals=signals, inputs=(*plan.inputs, *_copy(capture)))


def _copy(capture: Capture) -> tuple[tuple[str, str], ...]:
    """The capture as an edge table for the run folder, unless it is very long."""
    if len(capture.edges) > MOST_COPIED:
        return ()
    text = io.StringIO()
    write_capture(text, capture)
    return ((f"{Path(capture.name).stem}.edges.csv", text.getvalue()),)

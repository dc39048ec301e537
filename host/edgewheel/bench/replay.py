"""Captures on the bench: what was measured at the customer's engine is played edge for edge."""

from __future__ import annotations

import io
from dataclasses import replace
from fractions import Fraction
from hashlib import sha256
from pathlib import Path

from edgewheel.bench.captured_teeth import passages_by_angle
from edgewheel.bench.plan import Plan
from edgewheel.bench.record_folder import is_record
from edgewheel.edges.captures.capture import Capture, write_capture
from edgewheel.edges.captures.playback import Playback
from edgewheel.edges.captures.read import read_capture
from edgewheel.edges.table import Ticks
from edgewheel.errors import FileError, Place, UsageError
from edgewheel.fault.model import EdgeFault
from edgewheel.fault.signal import sound_signal
from edgewheel.learn.known_wheel import KnownMotion, known_motion
from edgewheel.motion.motion import Motion
from edgewheel.yamlfile import Node, document_text, parse

MOST_COPIED = 500_000
"""Edges of a capture that go into the run folder."""


def with_capture_of(plan: Plan, node: Node, path: Path) -> Plan:
    """The plan with what its bench file says below `capture:`, a file or a mapping.

    Raises FileError; UsageError where a motion is given, too, or a fault that cannot be.
    """
    if isinstance(node.content, str):
        return with_capture(plan, read_capture(_file(path.parent, node.text())))
    section = node.section()
    file = section.required("file")
    speed = section.optional("speed")
    tracks = section.optional("tracks")
    capture = read_capture(_file(path.parent, file.text()))
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
    in it, only speed is judged, not where sparks stand. A track that was not captured is held at
    its level at 0 degrees, and then too, for the turn within the cycle is not known.
    """
    if len(plan.signal.motion):
        raise UsageError(
            "A capture has a motion of its own, so 'motion:' has no place beside it. Take one of "
            "them out of the bench file."
        )
    known = known_motion(capture, plan.wheel, speed)
    passage = _passages(plan, capture, known, speed) if plan.signal.faults else None
    names = tuple(track.name for track in plan.wheel.tracks)
    held = plan.signal.levels.initial
    playback = Playback(capture, known.tracks, speed, passage, names, held)
    signal = replace(plan.signal, motion=known.motion, capture=playback)
    signals = plan.signals if known.positioned else replace(plan.signals, sparks={})
    return replace(plan, signal=signal, signals=signals, inputs=(*plan.inputs, *_copy(capture)))


def replayed(like: Plan, capture: Capture, speed: Fraction = Fraction(1)) -> Plan:
    """The plan that plays a capture on the bench of another plan, without its motion and faults.

    Its bench file names the capture's copy, so that its run folder plays again by itself.
    """
    still = replace(sound_signal(like.signal), motion=Motion())
    bare = replace(like, name=f"{like.name}, {capture.name}", signal=still, sweep=None)
    plan = with_capture(bare, capture, speed)
    if not like.inputs:
        return plan
    (bench, _), *others = plan.inputs
    text = _replaying_text(like.document, plan.name, capture, speed)
    return replace(plan, document=parse(text, bench), inputs=((bench, text), *others))


def _replaying_text(document: Node, name: str, capture: Capture, speed: Fraction) -> str:
    """The bench file that plays the capture's copy, or the capture where there will be none."""
    nodes = dict(document.section().nodes)
    for key in ("motion", "faults", "sweep", "capture"):
        nodes.pop(key, None)
    nodes["name"] = replace(document, content=name)
    file = capture.name if _is_long(capture) else _copy_name(capture.name)
    played = {"file": file, "speed": str(speed)}
    inner = {key: replace(document, content=value) for key, value in played.items()}
    nodes["capture"] = replace(document, content=inner)
    return document_text(replace(document, content=nodes))


def what_is_missing(plan: Plan) -> list[str]:
    """What a replay cannot judge, and what its run folder will lack, as sentences."""
    played = plan.signal.capture
    if played is None:
        return []
    name, told = played.capture.name, []
    held = [name for name, own in zip(played.names, played.tracks, strict=True) if own is None]
    if held:
        which = " and ".join(held)
        told.append(
            f"{name} has no {which}, which stays at its level: a controller that needs {which} "
            "will not sync. Only sync and speed are judged, not where sparks stand."
        )
    elif not plan.signals.sparks:
        told.append(f"{name}: only sync and speed are judged, not where sparks stand.")
    if _is_long(played.capture):
        told.append(
            f"{name} has {len(played.capture.edges):,} edges, too many to be copied into the run "
            "folder: to send the run, or to shrink it or report on it later, put the capture there."
        )
    return told


def _passages(plan: Plan, capture: Capture, known: KnownMotion, speed: Fraction) -> Ticks:
    """Which tooth made each edge, for the faults; raises UsageError for those that cannot be."""
    for name, fault in plan.signal.faults.items():
        if not isinstance(fault, EdgeFault):
            raise UsageError(
                f"The fault '{name}' changes the wheel, a sensor or the motion, and those "
                "of a capture are done. Take a fault of single edges, such as late_tooth, "
                "dropped_tooth, bounce or loose, or let 'edgewheel learn' find the wheel and play "
                "that."
            )
    if not known.recognised:
        raise UsageError(
            f"Faults need to know which tooth each edge of {capture.name} is of, and the wheel is "
            "not recognised in it. Name the wheel that it is of, or take the faults out."
        )
    levels = plan.signal.levels
    return passages_by_angle(capture, known.tracks, levels, known.motion, float(speed))


def _file(folder: Path, name: str) -> Path:
    """The capture's file; in a run folder, the copy of it. Raises FileError for one that lacks."""
    file, copy = folder / name, folder / _copy_name(name)
    if copy.is_file() and (is_record(folder) or not file.is_file()):
        return copy
    if is_record(folder) and not file.is_file() and (folder / _note_name(name)).is_file():
        raise FileError(
            Place(str(file)),
            "the capture was too long to be copied into this run folder",
            f"Put {file.name} there. {_note_name(name)} tells it from others.",
        )
    return file


def _copy_name(name: str) -> str:
    return f"{_stem(name)}.edges.csv"


def _note_name(name: str) -> str:
    return f"{_stem(name)}.not-copied.txt"


def _stem(name: str) -> str:
    return Path(name).stem.removesuffix(".edges")


def _is_long(capture: Capture) -> bool:
    return len(capture.edges) > MOST_COPIED


def _copy(capture: Capture) -> tuple[tuple[str, str], ...]:
    """The capture as an edge table for the run folder; of a very long one, how to know it."""
    if _is_long(capture):
        edges = capture.edges
        digest = sha256(edges.ticks.tobytes() + edges.track.tobytes() + edges.level.tobytes())
        note = f"{capture.name}: {len(edges)} edges, SHA-256 {digest.hexdigest()}\n"
        return ((_note_name(capture.name), note),)
    text = io.StringIO()
    write_capture(text, capture)
    return ((_copy_name(capture.name), text.getvalue()),)

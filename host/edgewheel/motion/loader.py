"""Motion files: YAML that says how the engine turns, and how its cams are timed."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

from edgewheel.motion.cam_reading import read_cams
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple_reading import read_ripple
from edgewheel.motion.segment_reading import Standing, read_segments
from edgewheel.yamlfile import Node, load


def load_motion(path: Path) -> Motion:
    """The motion in a file. Raises FileError."""
    return read_motion(load(path), path.parent)


def read_motion(node: Node, folder: Path) -> Motion:
    """The motion in a mapping; speed tables are found from `folder`. Raises FileError."""
    section = node.section()
    form = section.optional("format")
    if form is not None and form.integer() != 1:
        raise form.refuse("this format is not known", "Write 'format: 1'.")
    name = section.optional("name")
    if name is not None:
        name.text()
    start = section.optional("start")
    ripple_node, cams = section.optional("ripple"), section.optional("cams")
    ripple = read_ripple(ripple_node) if ripple_node else None
    segments = section.required("segments")
    section.finish()
    return Motion(
        read_segments(segments, Standing(Fraction(0), ripple, folder)),
        start.number(0, below=720) if start else Fraction(0),
        read_cams(cams) if cams else {},
    )


def speed_tables(node: Node, folder: Path) -> tuple[Path, ...]:
    """The files of the speed tables that a motion's tree names, found from `folder`."""
    content = node.content
    if isinstance(content, tuple):
        return tuple(file for one in content for file in speed_tables(one, folder))
    if not isinstance(content, dict):
        return ()
    inner = tuple(file for one in content.values() for file in speed_tables(one, folder))
    table = content.get("table")
    named = table is not None and isinstance(table.content, str)
    return (folder / table.text(), *inner) if table and named else inner

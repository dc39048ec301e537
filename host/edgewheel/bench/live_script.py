"""The bench file of a live run, with the course that was really taken as its motion.

So whatever reads the run folder later, timing above all, knows where the crank was.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import yaml

from edgewheel.motion.motion import Motion, Placed
from edgewheel.yamlfile import Node

NOTE = """\
# The motion below is the course that was taken live. Faults stand here as in the bench file;
# when each was on the pins says summary.json.
"""

_RESOLVER = yaml.resolver.Resolver()


def script_of(document: Node, motion: Motion, end_s: Fraction) -> str:
    """The text of the bench file with a motion, up to its end."""
    taken = motion.until(end_s) if end_s < motion.end_s else motion
    segments = yaml.SequenceNode(
        "tag:yaml.org,2002:seq", [_segment(taken[n]) for n in range(len(taken))]
    )
    nodes = dict(document.section().nodes)
    before = nodes.pop("motion", None)
    kept = before.content if before is not None and isinstance(before.content, dict) else {}
    rest = [(_scalar(k), _node(v)) for k, v in kept.items() if k in ("ripple", "cams")]
    start = [(_scalar("start"), _scalar(str(motion.start_deg)))] if motion.start_deg else []
    whole = [(_scalar(key), _node(node)) for key, node in nodes.items()]
    whole.append((_scalar("motion"), _mapping([*rest, *start, (_scalar("segments"), segments)])))
    return NOTE + yaml.serialize(_mapping(whole), width=100, allow_unicode=True)


def _segment(placed: Placed) -> yaml.MappingNode:
    one = placed.segment
    words = {"seconds": one.seconds}
    if one.rpm_begin == one.rpm_end:
        words = {"hold": one.rpm_end, **words}
    else:
        words = {"ramp": one.rpm_end, "from": one.rpm_begin, **words}
    return _mapping([(_scalar(key), _scalar(str(value))) for key, value in words.items()], True)


def _node(node: Node) -> yaml.Node:
    if isinstance(node.content, dict):
        return _mapping([(_scalar(key), _node(value)) for key, value in node.content.items()])
    if isinstance(node.content, tuple):
        return yaml.SequenceNode("tag:yaml.org,2002:seq", [_node(one) for one in node.content])
    return _scalar("null" if node.content is None else node.content)


def _mapping(
    pairs: Sequence[tuple[yaml.Node, yaml.Node]], in_line: bool = False
) -> yaml.MappingNode:
    return yaml.MappingNode("tag:yaml.org,2002:map", list(pairs), flow_style=in_line)


def _scalar(text: str) -> yaml.ScalarNode:
    """A plain scalar, whatever it looks like: the file's text is what counts."""
    tag: str = _RESOLVER.resolve(yaml.ScalarNode, text, (True, False))  # type: ignore[no-untyped-call]
    return yaml.ScalarNode(tag, text)

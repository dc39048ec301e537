"""A bench file's tree, changed as the console changes it, and written down again."""

from __future__ import annotations

from dataclasses import replace

from edgewheel.console.spare_faults import suits
from edgewheel.wheel.model import Wheel
from edgewheel.yamlfile import Node, document_text


def with_word(document: Node, key: str, text: str) -> Node:
    """The tree with another word at a key of its top."""
    node = Node(replace(document.place, key=key), text)
    return replace(document, content={**document.section().nodes, key: node})


def with_settings(document: Node, settings: Node) -> Node:
    """The tree with other settings of its simulated controller."""
    section = document.section().nodes
    controller = {**section["controller"].section().nodes, "settings": settings}
    return replace(document, content={**section, "controller": Node(document.place, controller)})


def with_sweep(document: Node, stairs: tuple[str, str, str]) -> Node:
    """The tree with a sweep from a speed, to another, in steps; what else it says of it stays."""
    section = document.section().nodes
    before = section["sweep"].section().nodes if "sweep" in section else {}
    words = zip(("from", "to", "step"), stairs, strict=True)
    own = {key: Node(replace(document.place, key=f"sweep.{key}"), text) for key, text in words}
    sweep = Node(replace(document.place, key="sweep"), {**before, **own})
    return replace(document, content={**section, "sweep": sweep})


def suited(document: Node, wheel: Wheel) -> Node:
    """The tree without the sensors and faults that another wheel cannot have."""
    section = dict(document.section().nodes)
    tracks = {track.name for track in wheel.tracks}
    if "sensors" in section and not section["sensors"].section().nodes.keys() <= tracks:
        del section["sensors"]
    if "faults" in section:
        sensors = tuple(track.sensor for track in wheel.tracks)
        own = section["faults"].section().nodes
        kept = {name: node for name, node in own.items() if suits(name, node, wheel, sensors)}
        section["faults"] = replace(section["faults"], content=kept)
    return replace(document, content=section)


def only_faults(document: Node, on: set[str]) -> Node:
    """The bench file's tree with these faults on, and none of the others."""
    section = document.section().nodes
    faults = {
        name: replace(node, content={**node.section().nodes, "off": Node(node.place, "false")})
        for name, node in section["faults"].section().nodes.items()
        if name in on
    }
    return replace(document, content={**section, "faults": Node(document.place, faults)})


def text_of(document: Node) -> str:
    """A bench file that reads as this tree."""
    return f"# As it lay on the desk of the console.\n{document_text(document)}"

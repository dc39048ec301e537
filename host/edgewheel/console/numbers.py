"""The numbers and words of a fault in a bench file, each with its address."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from edgewheel.yamlfile import Node

NOT_EDITED = ("kind", "off")


@dataclass(frozen=True)
class Number:
    """One value: its key within the fault, its address in the bench file, its text."""

    key: str
    address: str
    text: str


def numbers_of(document: Node, fault: str) -> list[Number]:
    """Every single value of a fault, in the order of the file."""
    faults = document.section().nodes["faults"].section().nodes
    return list(_numbers(faults[fault], "", f"faults.{fault}"))


def kind_of(document: Node, fault: str) -> str:
    """What kind of fault it is."""
    return document.section().nodes["faults"].section().nodes[fault].section().nodes["kind"].text()


def _numbers(node: Node, key: str, address: str) -> Iterator[Number]:
    content = node.content
    if isinstance(content, dict):
        for name, child in content.items():
            if not key and name in NOT_EDITED:
                continue
            yield from _numbers(child, f"{key}.{name}" if key else name, f"{address}.{name}")
    elif isinstance(content, tuple):
        for place, child in enumerate(content):
            label = key if len(content) == 1 else f"{key}[{place}]"
            yield from _numbers(child, label, f"{address}[{place}]")
    elif content is not None:
        yield Number(key, address, content)

"""YAML files as trees that remember where each value stands, with numbers that stay exact.

Every file of the project is read through here, so every complaint names file, line and key, and
says what would be right. The tree is composed by PyYAML's safe loader; scalars keep their text, and
`0.1` becomes the fraction 1/10. Anchors, aliases, tags and duplicate keys are refused: they hide
what a colleague should see, and make bombs.
"""

from __future__ import annotations

import difflib
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import TypeVar

import yaml

from edgewheel.errors import FileError, Place

SUFFIXES = (".yaml", ".yml")

LARGEST_FILE_BYTES = 2_000_000
"""A file beyond this is not one that a person wrote."""

LARGEST_YAML_BYTES = 200_000
"""Reading YAML takes seconds beyond this; no wheel or bench that a person wrote comes near."""

DEEPEST = 40
"""Mappings and lists inside one another; deeper ones are slips or bombs."""

LONGEST_NUMBER = 40
"""Characters; longer ones are slips, and would make exact arithmetic slow."""

FEW_WORDS = 6
"""Up to so many allowed words are listed beside the nearest."""

TREES_KEPT = 128
"""Files read last: a search reads its bench file, wheel and controller again for each trial."""

_DECIMAL = re.compile(r"[+-]?(\d[\d_]*(\.\d*)?|\.\d+)([eE][+-]?\d{1,2})?")
_FRACTION = re.compile(r"([+-]?\d+)\s*/\s*(\d+)")
_PLAIN = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_./+-]*( [A-Za-z0-9_./+-]+)*")
_PLAIN_TAGS = {
    f"tag:yaml.org,2002:{name}"
    for name in ("null", "bool", "int", "float", "str", "timestamp", "merge", "value", "map", "seq")
}
_TRUTH = {"true": True, "yes": True, "on": True, "false": False, "no": False, "off": False}
_Choice = TypeVar("_Choice", bound=str)


@dataclass(frozen=True)
class Node:
    """One value: the text of a scalar (None if empty), a list of nodes, or a mapping of nodes."""

    place: Place
    content: str | tuple[Node, ...] | dict[str, Node] | None

    def refuse(self, problem: str, remedy: str) -> FileError:
        """The error to raise about this value."""
        return FileError(self.place, problem, remedy)

    def section(self) -> Section:
        """This mapping, to be taken key by key. Raises FileError if it is none."""
        if not isinstance(self.content, dict):
            raise self.refuse(f"{self._described()} stands here", "Write keys and values below it.")
        return Section(self, self.content)

    def items(self) -> tuple[Node, ...]:
        """The nodes of this list. Raises FileError if it is none."""
        if not isinstance(self.content, tuple):
            raise self.refuse(f"{self._described()} stands here", "Write a list: [a, b, ...].")
        return self.content

    def text(self) -> str:
        """This scalar as text, not empty. Raises FileError."""
        if not isinstance(self.content, str) or not self.content.strip():
            raise self.refuse(f"{self._described()} stands here", "Write a text.")
        return self.content

    def number(
        self,
        minimum: Fraction | int | None = None,
        maximum: Fraction | int | None = None,
        *,
        above: Fraction | int | None = None,
        below: Fraction | int | None = None,
    ) -> Fraction:
        """This scalar as an exact number, `above` and `below` exclusive. Raises FileError."""
        value = parse_number(self.content) if isinstance(self.content, str) else None
        if value is None:
            raise self.refuse(
                f"{self._described()} is not a number",
                'Write an integer, a decimal or a quoted fraction such as "360/7".',
            )
        self._check_range(value, minimum, maximum, above, below)
        return value

    def integer(self, minimum: int | None = None, maximum: int | None = None) -> int:
        """This scalar as an integer. Raises FileError."""
        value = self.number(minimum, maximum)
        if value.denominator != 1:
            raise self.refuse(f"{self.content} is not a whole number", "Write a whole number.")
        return int(value)

    def choice(self, allowed: Sequence[_Choice]) -> _Choice:
        """This scalar as one of the allowed words. Raises FileError."""
        for word in allowed:
            if self.content == word:
                return word
        near = _nearest(str(self.content), allowed)
        raise self.refuse(f"{self._described()} is not known here", f"Write {near}.")

    def flag(self) -> bool:
        """This scalar as true or false. Raises FileError."""
        value = _TRUTH.get(self.content.lower()) if isinstance(self.content, str) else None
        if value is None:
            raise self.refuse(f"{self._described()} is not yes or no", "Write true or false.")
        return value

    def with_value(self, address: str, text: str) -> Node:
        """A copy of this tree in which the scalar at `faults.worn.delay` reads `text`.

        Items of lists count from 0: `motion.segments[1].hold`. Raises FileError with the nearest
        known key where the address leads nowhere.
        """
        return self._with(_steps(address), text)

    def at(self, address: str) -> Node:
        """What stands at an address; see `with_value`. Raises FileError."""
        node = self
        for step in _steps(address):
            node = node._below(step)
        return node

    def _with(self, steps: Sequence[str], text: str) -> Node:
        if not steps:
            if not isinstance(self.content, str):
                raise self.refuse("no single value stands here", "Name one number below it.")
            return replace(self, content=text)
        head, *rest = steps
        changed = self._below(head)._with(rest, text)
        if isinstance(self.content, tuple):
            here = int(head.strip("[]"))
            items = (*self.content[:here], changed, *self.content[here + 1 :])
            return replace(self, content=items)
        return replace(self, content={**self.section().nodes, head: changed})

    def _below(self, step: str) -> Node:
        """The item of a list at `[n]`, or the value of a key. Raises FileError."""
        if not step.startswith("["):
            nodes = self.section().nodes
            if step not in nodes:
                raise self.refuse(f"'{step}' is missing", _to_address(step, list(nodes)))
            return nodes[step]
        items, index = self.items(), step.strip("[]")
        if not (index.isdecimal() and int(index) < len(items)):
            remedy = f"Its items are [0] to [{len(items) - 1}]."
            raise self.refuse(f"there is no item {step} here", remedy)
        return items[int(index)]

    def _check_range(
        self,
        value: Fraction,
        minimum: Fraction | int | None,
        maximum: Fraction | int | None,
        above: Fraction | int | None,
        below: Fraction | int | None,
    ) -> None:
        if minimum is not None and value < minimum:
            raise self.refuse(f"{self.content} is too small", f"Write at least {minimum}.")
        if maximum is not None and value > maximum:
            raise self.refuse(f"{self.content} is too large", f"Write at most {maximum}.")
        if above is not None and value <= above:
            raise self.refuse(f"{self.content} is too small", f"Write more than {above}.")
        if below is not None and value >= below:
            raise self.refuse(f"{self.content} is too large", f"Write less than {below}.")

    def _described(self) -> str:
        if isinstance(self.content, dict):
            return "a mapping"
        if isinstance(self.content, tuple):
            return "a list"
        return f"'{self.content}'" if self.content else "nothing"


@dataclass
class Section:
    """A mapping whose keys are taken one by one, so that the ones left over can be refused."""

    node: Node
    nodes: dict[str, Node]

    def __post_init__(self) -> None:
        self._asked: list[str] = []

    def optional(self, key: str) -> Node | None:
        """The value of a key, or None."""
        self._asked.append(key)
        return self.nodes.get(key)

    def required(self, key: str) -> Node:
        """The value of a key. Raises FileError if it is missing."""
        found = self.optional(key)
        if found is None:
            near = difflib.get_close_matches(key, self.nodes, 1)
            hint = f"Is '{near[0]}' meant for it?" if near else f"Add '{key}:'."
            raise self.node.refuse(f"'{key}' is missing", hint)
        return found

    def finish(self) -> None:
        """Refuse the keys that nobody asked for, naming the nearest known one. Raises FileError."""
        for key, node in self.nodes.items():
            if key not in self._asked:
                remedy = f"Write {_nearest(key, self._asked)}."
                if key.isdecimal() and not node.content:
                    remedy = "Write decimals with a point: 1.5, not 1,5."
                raise node.refuse(f"'{key}' is not known here", remedy)


def _to_address(step: str, known: Sequence[str]) -> str:
    """What to do about an address that leads to nothing."""
    near = difflib.get_close_matches(step, known, 1)
    meant = f"Is '{near[0]}' meant for it? " if near else ""
    return (
        f"{meant}An address names what the file says, and here it says: {', '.join(known)}. What "
        "it leaves to its default must be written into it first."
    )


def _steps(address: str) -> list[str]:
    return address.replace("[", ".[").split(".")


def parse_number(text: str) -> Fraction | None:
    """An integer, a decimal or a fraction a/b as an exact number; None if it is none of them."""
    text = text.strip()
    if len(text) > LONGEST_NUMBER:
        return None
    if _DECIMAL.fullmatch(text):
        return Fraction(Decimal(text))
    ratio = _FRACTION.fullmatch(text)
    if ratio and int(ratio[2]):
        return Fraction(int(ratio[1]), int(ratio[2]))
    return None


def is_path(name: str) -> bool:
    """Whether a word names a file, not a thing of a library: by its suffix, or by a slash."""
    return name.endswith(SUFFIXES) or Path(name).name != name


def read_text(path: Path, largest_bytes: int = LARGEST_FILE_BYTES) -> str:
    """The text of a file a person wrote. Raises FileError if it cannot be read as one."""
    place = Place(str(path))
    try:
        if path.stat().st_size > largest_bytes:
            remedy = (
                f"Check that this is the right file; at most {largest_bytes / 1e6:g} MB are read."
            )
            raise FileError(place, "the file is too large", remedy)
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise FileError(place, "the file is not text", "Save it as UTF-8 text.") from error
    except FileNotFoundError as error:
        raise FileError(place, "there is no such file", "Check the name and the folder.") from error
    except IsADirectoryError as error:
        raise FileError(
            place, "the file cannot be read: it is a folder", "Name a file in it."
        ) from error
    except OSError as error:
        reason = error.strerror or str(error)
        raise FileError(place, f"the file cannot be read: {reason}", "Check its rights.") from error


def load(path: Path) -> Node:
    """The tree of a YAML file. Raises FileError with file, line and remedy."""
    return parse(read_text(path, LARGEST_YAML_BYTES), str(path))


@lru_cache(TREES_KEPT)
def parse(text: str, file: str) -> Node:
    """The tree of a YAML text; `file` is the name that errors give. Raises FileError."""
    try:
        root = _Composer(text, file).get_single_node()
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = mark.line + 1 if mark else 0
        problem = f"this is not YAML: {error.problem or error.context}"
        remedy = "Look at the indentation, colons and brackets around this line."
        if "'\\t'" in problem:
            remedy = "There is a tab. Make the indentation of spaces."
        raise FileError(Place(file, line), problem, remedy) from error
    except yaml.YAMLError as error:
        raise FileError(Place(file), "the file is not text", "Save it as UTF-8 text.") from error
    if root is None:
        raise FileError(Place(file), "the file is empty", "Start with 'format: 1'.")
    return _tree(root, file, "")


def document_text(document: Node) -> str:
    """A file's text, a line for each key, which reads back as the same."""
    nodes = document.section().nodes
    return "".join(f"{_word(key)}: {flow(node)}\n" for key, node in nodes.items())


def flow(node: Node) -> str:
    """A value on one line of YAML, which reads back as the same."""
    if isinstance(node.content, dict):
        return "{" + ", ".join(f"{_word(k)}: {flow(v)}" for k, v in node.content.items()) + "}"
    if isinstance(node.content, tuple):
        return "[" + ", ".join(map(flow, node.content)) + "]"
    return "" if node.content is None else _word(node.content)


def _word(text: str) -> str:
    return text if _PLAIN.fullmatch(text) else json.dumps(text, ensure_ascii=False)


class _Composer(yaml.SafeLoader):
    """Composes a tree, and refuses anchors, aliases and deep nesting before it builds on them."""

    def __init__(self, text: str, file: str) -> None:
        super().__init__(text)
        self._file = file
        self._depth = 0

    def compose_node(self, parent: yaml.Node | None, index: int) -> yaml.Node | None:
        event = self.peek_event()  # type: ignore[no-untyped-call]
        place = Place(self._file, event.start_mark.line + 1)
        if isinstance(event, yaml.AliasEvent) or event.anchor:
            raise FileError(place, "anchors and aliases are not used here", "Write the value out.")
        if isinstance(event, yaml.CollectionStartEvent) and self._depth == DEEPEST:
            raise FileError(place, "it is nested too deep", "Check the brackets.")
        self._depth += 1
        node = super().compose_node(parent, index)
        self._depth -= 1
        return node


def _tree(node: yaml.Node, file: str, key: str) -> Node:
    place = Place(file, node.start_mark.line + 1, key)
    if node.tag not in _PLAIN_TAGS:
        raise FileError(place, f"the tag {node.tag} is not used here", "Remove it.")
    if isinstance(node, yaml.MappingNode):
        return Node(place, _mapping(node, file, key))
    if isinstance(node, yaml.SequenceNode):
        return Node(place, tuple(_tree(n, file, f"{key}[{i}]") for i, n in enumerate(node.value)))
    assert isinstance(node, yaml.ScalarNode)
    is_null = node.tag == "tag:yaml.org,2002:null"
    return Node(place, None if is_null else str(node.value))


def _mapping(node: yaml.MappingNode, file: str, key: str) -> dict[str, Node]:
    nodes: dict[str, Node] = {}
    for key_node, value_node in node.value:
        place = Place(file, key_node.start_mark.line + 1, key)
        if not isinstance(key_node, yaml.ScalarNode):
            raise FileError(place, "a key must be a plain word", "Write 'key: value'.")
        name = str(key_node.value)
        if name in nodes:
            remedy = "Keep one of the two."
            raise FileError(place, f"'{name}' stands twice in this mapping", remedy)
        child = _tree(value_node, file, f"{key}.{name}" if key else name)
        nodes[name] = replace(child, place=replace(child.place, line=place.line))
    return nodes


def _nearest(word: str, known: Sequence[str]) -> str:
    """What to write instead of a word: the nearest of the known ones, and the others if few."""
    if not known:
        return "nothing here"
    near = difflib.get_close_matches(word, known, 1)
    others = sorted(set(known) - set(near))
    if not near:
        return "one of: " + ", ".join(others)
    meant = f"'{near[0]}', if that is what is meant"
    few = others and len(others) <= FEW_WORDS
    return f"{meant}, or one of: {', '.join(others)}" if few else meant

"""What is written from a circuit for people and programs: bill of materials, netlist, tables."""

from __future__ import annotations

import csv
import io
import re
from collections import defaultdict
from collections.abc import Iterable

from circuit.circuit import Circuit
from circuit.parts import Part, PartType


def natural(ref: str) -> list[tuple[int, str]]:
    """A key that sorts R2 before R10."""
    return [(int(n or 0), word) for word, n in re.findall(r"(\D+)(\d*)", ref)]


def table(header: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    """Comma-separated values."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return out.getvalue()


def housed(circuit: Circuit) -> dict[str, PartType]:
    """What is soldered in: each reference once, units of a shared package as the package."""
    return {part.shared or part.ref: part.type for part in circuit.parts}


def bill(circuit: Circuit) -> str:
    """The bill of materials: equal parts in one row, with two classes of substitute."""
    rows: dict[PartType, list[str]] = defaultdict(list)
    for ref, type in housed(circuit).items():
        rows[type].append(ref)
    return table(
        ("quantity", "kind", "value", "package", "bears", "substitute 1", "substitute 2", "where"),
        (
            (len(r), t.kind, t.value, t.package, _bears(t), *t.substitutes, " ".join(r))
            for t, r in sorted(
                ((t, sorted(refs, key=natural)) for t, refs in rows.items()),
                key=lambda row: (row[0].kind, natural(row[1][0])),
            )
        ),
    )


def _bears(type: PartType) -> str:
    rating = type.rating
    named = ((rating.volts, "V"), (rating.amps, "A"), (rating.watts, "W"))
    return " ".join(f"{value:g} {unit}" for value, unit in named if value is not None)


def netlist(circuit: Circuit) -> str:
    """Components and nets as an s-expression of the form that layout programs read."""
    lines = [f'(export (version "E") (design (source "{circuit.name}"))', "  (components"]
    for ref, type in sorted(housed(circuit).items(), key=lambda item: natural(item[0])):
        lines.append(
            f'    (comp (ref "{ref}") (value "{type.value}") (footprint "{type.package}"))'
        )
    lines += ["  )", "  (nets"]
    for code, (net, pins) in enumerate(circuit.nets().items(), 1):
        nodes = sorted({_node(circuit.part(ref), pin) for ref, pin in pins}, key=_by_ref)
        text = " ".join(f'(node (ref "{ref}") (pin "{number}"))' for ref, number in nodes)
        lines.append(f'    (net (code "{code}") (name "{net}") {text})')
    return "\n".join([*lines, "  )", ")"]) + "\n"


def _node(part: Part, pin: str) -> tuple[str, str]:
    return part.shared or part.ref, part.pin_number(pin)


def _by_ref(node: tuple[str, str]) -> tuple[list[tuple[int, str]], int]:
    return natural(node[0]), int(node[1])

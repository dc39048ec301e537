"""A circuit: parts on named nets, and the ports through which it meets the others."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from circuit.parts import Part, PartType, Role

GROUND = "GND"


@dataclass(frozen=True)
class Port:
    """A net that leaves the stage; `role` is what the other side does to it."""

    net: str
    role: Role
    meaning: str


@dataclass
class Circuit:
    """`name` is used in file names, `title` on drawings.

    Every net must hang together with one of the `grounds` through parts.
    """

    name: str
    title: str
    grounds: tuple[str, ...] = (GROUND,)
    parts: list[Part] = field(default_factory=list)
    ports: list[Port] = field(default_factory=list)

    def add(
        self,
        ref: str,
        type: PartType,
        *nets: str,
        why: str = "",
        unit: int | None = None,
        shared: str = "",
        on: Mapping[str, str] | None = None,
        **named: str,
    ) -> None:
        """Put a part down: its nets in the order of its pins, or by name, in words or in `on`."""
        if any(part.ref == ref for part in self.parts):
            raise ValueError(f"{ref} stands twice in {self.name}; give it another number.")
        names = [pin.name for pin in type.pins]
        by_name = dict(zip(names, nets, strict=False)) | named | dict(on or {})
        if len(nets) > len(names) or sorted(by_name) != sorted(names):
            raise ValueError(f"{ref} of {self.name} wants one net for each of {', '.join(names)}.")
        self.parts.append(Part(ref, type, {n: by_name[n] for n in names}, why, unit, shared))

    def port(self, net: str, role: Role, meaning: str) -> None:
        self.ports.append(Port(net, role, meaning))

    def part(self, ref: str) -> Part:
        """The part of that reference; KeyError if there is none."""
        for part in self.parts:
            if part.ref == ref:
                return part
        raise KeyError(f"{self.name} has no {ref}.")

    def nets(self) -> dict[str, list[tuple[str, str]]]:
        """Each net with its pins, as pairs of reference and pin name."""
        found: dict[str, list[tuple[str, str]]] = defaultdict(list)
        for part in self.parts:
            for pin, net in part.nets.items():
                found[net].append((part.ref, pin))
        return dict(sorted(found.items()))

    def with_part(self, changed: Part) -> Circuit:
        """A copy in which the part of the same reference is this one."""
        parts = [changed if part.ref == changed.ref else part for part in self.parts]
        return replace(self, parts=parts, ports=list(self.ports))


def joined(
    name: str, title: str, members: Iterable[tuple[int, Circuit, dict[str, str]]]
) -> Circuit:
    """One circuit of several stages.

    A member is (block, stage, wiring). The block's number goes before the references: R1 of block
    3 becomes R301; units of a shared package go by its name and a letter. `wiring` says which net
    of the whole each port is; ports not named there keep their names, as supplies do; nets inside
    a stage stay its own.
    """
    members = list(members)
    grounds = dict.fromkeys(ground for _, stage, _ in members for ground in stage.grounds)
    whole = Circuit(name, title, tuple(grounds))
    for block, stage, wiring in members:
        outer = {port.net: wiring.get(port.net, port.net) for port in stage.ports}
        for part in stage.parts:
            nets = {pin: outer.get(net, f"{block}/{net}") for pin, net in part.nets.items()}
            if part.unit is None:
                ref = numbered(part.ref, block)
            else:
                ref = part.shared + "ABCDEF"[part.unit]
            whole.parts.append(replace(part, ref=ref, nets=nets))
    return whole


def numbered(ref: str, block: int) -> str:
    """R1 of block 3 is R301."""
    letters = ref.rstrip("0123456789")
    return f"{letters}{100 * block + int(ref[len(letters) :])}"

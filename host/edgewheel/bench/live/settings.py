"""What a person may change of a live bench: its faults, by name, and the numbers in them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from edgewheel.bench.live.faults import FaultWish, refuse_scripted
from edgewheel.bench.live.state import FaultState
from edgewheel.bench.loader import read_sensors
from edgewheel.bench.plan import Plan, voltage_tracks
from edgewheel.errors import UsageError
from edgewheel.fault.loader import read_faults
from edgewheel.fault.model import Fault
from edgewheel.motion.manoeuvres import RippleSource
from edgewheel.motion.ripple_reading import read_ripple
from edgewheel.wheel.model import Sensor
from edgewheel.yamlfile import Node


@dataclass(frozen=True)
class LiveFaults:
    """All faults of a bench file, also those that are off, and what is wanted of each.

    `plan` is the bench file's with these faults to be switched. Every change gives a new one.
    Raises FileError and UsageError in words for people.
    """

    plan: Plan
    tree: Node | None
    faults: Mapping[str, Fault]
    states: Mapping[str, FaultState]
    asked_ns: Mapping[str, int] = field(default_factory=dict)

    @classmethod
    def of(cls, plan: Plan) -> LiveFaults:
        """As the bench file has them: those that are not off are held."""
        tree = plan.document.section().nodes.get("faults")
        faults = _all(plan, tree)
        on = set(plan.signal.faults)
        states = {n: FaultState.HELD if n in on else FaultState.OFF for n in faults}
        for name in on:
            refuse_scripted(name, faults[name])
        return cls(replace(plan, switchable=faults), tree, faults, states)

    def switched(self, name: str, state: FaultState, now_ns: int = 0) -> LiveFaults:
        """With one fault in another state, asked for now."""
        if name not in self.faults:
            known = ", ".join(self.faults) or "none"
            raise UsageError(f"There is no fault '{name}'. The bench file's faults are: {known}.")
        if state is not FaultState.OFF:
            refuse_scripted(name, self.faults[name])
        asked_ns = {**self.asked_ns, name: now_ns}
        return replace(self, states={**self.states, name: state}, asked_ns=asked_ns)

    def edited(self, address: str, text: str) -> LiveFaults:
        """With another number (or word) at an address such as `faults.worn.delay_us`."""
        head, _, rest = address.partition(".")
        if head != "faults" or self.tree is None:
            raise UsageError(
                f"'{address}' cannot be changed while the engine turns. Faults can be, by an "
                "address such as faults.NAME.KEY; open the bench anew for the rest."
            )
        tree = self.tree.with_value(rest, text)
        return replace(self, tree=tree, faults=_all(self.plan, tree))

    def shown(self, over_ns: Mapping[str, int]) -> dict[str, FaultState]:
        """The states, those that came once off again; `over_ns` says of such a fault when the last
        that is over was asked for.
        """
        return {
            name: FaultState.OFF
            if state is FaultState.ONCE and over_ns.get(name, -1) >= self.asked_ns.get(name, 0)
            else state
            for name, state in self.states.items()
        }

    def wish(self, once: frozenset[str] = frozenset()) -> FaultWish:
        """What is wanted of the pins: what is held, and what is to come once from now on."""
        held = {n: self.faults[n] for n, s in self.states.items() if s is FaultState.HELD}
        awaited = frozenset(n for n, s in self.states.items() if s is FaultState.ONCE)
        return FaultWish(held, {name: self.faults[name] for name in once}, awaited)


def sensors_of(plan: Plan) -> tuple[Sensor, ...]:
    """The wheel's sensors as the bench file has them."""
    return read_sensors(plan.document.section().nodes.get("sensors"), plan.wheel)


def ripple_of(plan: Plan) -> RippleSource:
    """The ripple of the bench file's motion, so that the engine turns live as it does in a run.

    Of a motion in a file of its own, that of its last segment.
    """
    node = plan.document.section().nodes.get("motion")
    if node is not None and isinstance(node.content, dict):
        ripple = node.content.get("ripple")
        return read_ripple(ripple) if ripple else None
    motion = plan.signal.motion
    return motion[len(motion) - 1].segment.ripple if len(motion) else None


def _all(plan: Plan, tree: Node | None) -> dict[str, Fault]:
    if tree is None:
        return {}
    voltages = voltage_tracks(plan.wheel, plan.stage)
    return read_faults(_none_off(tree), plan.wheel, sensors_of(plan), voltages)


def _none_off(tree: Node) -> Node:
    """The faults without the switch that leaves some of them out."""
    nodes = {
        name: replace(node, content={k: v for k, v in node.section().nodes.items() if k != "off"})
        for name, node in tree.section().nodes.items()
    }
    return replace(tree, content=nodes)

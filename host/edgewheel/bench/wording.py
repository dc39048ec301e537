"""The `signals:` and `limits:` of a bench file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

from edgewheel.bench.outputs import read_cylinders, read_outputs, sparks_of
from edgewheel.bench.signals import Limits, Signals, SparkLine
from edgewheel.wheel.model import Wheel
from edgewheel.yamlfile import Node

CRANK_EDGES: tuple[Literal["rise", "fall"], ...] = ("rise", "fall")


def read_signals(node: Node, usual: Signals, wheel: Wheel) -> Signals:
    """Which field and which wire says what; what is not said stays as `usual`. Raises FileError."""
    section = node.section()

    def word(key: str, default: str) -> str:
        item = section.optional(key)
        return item.text() if item else default

    signals = replace(
        usual,
        speed=word("speed", usual.speed),
        losses=word("losses", usual.losses),
        reason=word("reason", usual.reason),
        advance=word("advance", usual.advance),
    )
    sync = section.optional("sync")
    if sync is not None and sync.content == "none":
        signals = replace(signals, sync="")
    elif sync is not None:
        sync_section = sync.section()
        field = sync_section.required("field").text()
        words = tuple(word.text() for word in sync_section.required("synced").items())
        sync_section.finish()
        signals = replace(signals, sync=field, synced=words)
    fixed = section.optional("advance_deg")
    edge = section.optional("crank_edge")
    sparks = section.optional("sparks")
    outputs_node = section.optional("outputs")
    section.finish()
    outputs = read_outputs(outputs_node, wheel) if outputs_node else usual.outputs
    coils = sparks_of(outputs) if outputs_node else usual.sparks
    return replace(
        signals,
        crank_edge=edge.choice(CRANK_EDGES) if edge else signals.crank_edge,
        advance_deg=float(fixed.number(-90, 90)) if fixed else signals.advance_deg,
        sparks=_read_sparks(sparks, wheel) if sparks else coils,
        outputs=outputs,
    )


def _read_sparks(node: Node, wheel: Wheel) -> Mapping[str, SparkLine]:
    section = node.section()
    lines = {}
    for name in section.nodes:
        line = section.required(name).section()
        cylinders = line.required("cylinders")
        edge = line.optional("edge")
        line.finish()
        cylinders.items()
        numbers = read_cylinders(cylinders, wheel)
        lines[name] = SparkLine(numbers, edge.choice(("rise", "fall")) if edge else "fall")
    return lines


def read_limits(node: Node | None) -> Limits:
    """What counts as lost. Raises FileError."""
    usual = Limits()
    if node is None:
        return usual
    section = node.section()

    def number(key: str, default: float, maximum: int) -> float:
        item = section.optional(key)
        return float(item.number(above=0, maximum=maximum)) if item else default

    def optional(key: str, maximum: int) -> float | None:
        item = section.optional(key)
        return float(item.number(above=0, maximum=maximum)) if item else None

    limits = Limits(
        speed_error_percent=number("speed_error_percent", usual.speed_error_percent, 100),
        speed_error_ms=number("speed_error_ms", usual.speed_error_ms, 60_000),
        report_latency_ms=number("report_latency_ms", usual.report_latency_ms, 10_000),
        silence_ms=number("silence_ms", usual.silence_ms, 600_000),
        position_deg=optional("position_deg", 360),
        least_rpm=number("least_rpm", usual.least_rpm, 10_000),
        rev_limit_rpm=optional("rev_limit_rpm", 100_000),
        sync_within_s=number("sync_within_s", usual.sync_within_s, 3600),
    )
    section.finish()
    return limits

"""Settings that are each allowed and together mean nothing.

What is merely wrong for a wheel is not looked for: a real controller takes it too.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import singledispatch
from itertools import pairwise

from edgewheel.controller.sim.settings import (
    AddedTooth,
    ControllerSettings,
    EngineSettings,
    EvenTeeth,
    IgnitionSettings,
    MissingTeeth,
    PhaseSettings,
    RcSettings,
    SlottedDisc,
    ToothPerCylinder,
    UnevenWindows,
    VrSettings,
)

Contradictions = Iterator[tuple[str, str, str]]
"""(the key to change, what is wrong, what would be right)."""


@singledispatch
def found(settings: object) -> Contradictions:
    """What contradicts itself in one group of settings."""
    yield from ()


@found.register
def _rc(rc: RcSettings) -> Contradictions:
    if rc.lower_threshold_percent >= rc.upper_threshold_percent:
        yield (
            "lower_threshold_percent",
            "the lower threshold is not below the upper one",
            f"Write less than {rc.upper_threshold_percent:g}.",
        )


@found.register
def _vr(vr: VrSettings) -> Contradictions:
    speeds = [rpm for rpm, _ in vr.arming_mv]
    if not speeds or sorted(set(speeds)) != speeds:
        yield (
            "arming_mv",
            "the speeds of the threshold do not ascend" if speeds else "there is no threshold",
            "Write [[rpm, mV], ...], the lowest speed first.",
        )


@found.register
def _missing(wheel: MissingTeeth) -> Contradictions:
    if wheel.missing > wheel.pitches - 2:
        yield "missing", "fewer than two teeth are left", f"Write at most {wheel.pitches - 2}."
    if wheel.gap_ratio_low >= wheel.gap_ratio_high:
        yield (
            "gap_ratio_high",
            "the gap ratio has no room between its limits",
            f"Write more than {wheel.gap_ratio_low:g}.",
        )
    highest = wheel.tooth_ratio_high
    yield from _tooth_ratio(
        wheel.tooth_ratio_low, wheel.gap_ratio_low if highest is None else highest
    )


@found.register
def _even(wheel: EvenTeeth | ToothPerCylinder) -> Contradictions:
    yield from _tooth_ratio(wheel.tooth_ratio_low, wheel.tooth_ratio_high)


@found.register
def _added(wheel: AddedTooth) -> Contradictions:
    if wheel.teeth < 3:
        yield "teeth", "a pair of short periods cannot be told from the rest", "Write at least 3."
    yield from _tooth_ratio(wheel.short_ratio_high, wheel.tooth_ratio_high)


def _tooth_ratio(low: float, high: float) -> Contradictions:
    if low >= high:
        yield (
            "tooth_ratio_high",
            "the tooth ratio has no room between its limits",
            f"Write more than {low:g}.",
        )


@found.register
def _windows(wheel: UnevenWindows) -> Contradictions:
    yield from _spans("windows_deg", wheel.windows_deg, 720.0)


@found.register
def _disc(wheel: SlottedDisc) -> Contradictions:
    yield from _spans("windows_slits", wheel.windows_slits, wheel.slits)


def _spans(key: str, windows: tuple[tuple[float, float], ...], whole: float) -> Contradictions:
    if len(windows) < 2:
        yield key, "one window has nothing to be told from", "List at least two windows."
    elif windows[0][0] != 0:
        yield key, "the first window does not open at 0", "Count from where the first window opens."
    edges = [edge for window in windows for edge in window]
    if any(a >= b for a, b in pairwise([*edges, whole])):
        yield (
            key,
            "the windows are not one after the other",
            f"Write ascending edges below {whole:g}.",
        )


@found.register
def _phase(phase: PhaseSettings) -> Contradictions:
    if phase.by == "edge" and phase.window_from_deg >= phase.window_to_deg:
        yield (
            "window_to_deg",
            "the cam window ends before it begins",
            f"Write more than {phase.window_from_deg:g}, or move the window off the reference.",
        )
    if phase.by == "count" and phase.first_turn_edges == phase.second_turn_edges:
        yield (
            "second_turn_edges",
            "both turns have the same number of cam edges",
            f"Write another number than {phase.first_turn_edges}.",
        )


@found.register
def _engine(engine: EngineSettings) -> Contradictions:
    cylinders = len(engine.firing_order)
    if not cylinders or len(set(engine.firing_order)) != cylinders:
        yield "firing_order", "a cylinder is missing or stands twice", "Write each cylinder once."
    if len(engine.firing_deg) != cylinders:
        yield (
            "firing_deg",
            f"there are {len(engine.firing_deg)} angles for {cylinders} cylinders",
            f"Write {cylinders} angles: the first is 0.",
        )


@found.register
def _ignition(ignition: IgnitionSettings) -> Contradictions:
    table = ignition.advance_table
    if table is not None and not table:
        yield "advance_table", "the table is empty", "Write [[rpm, degrees], ...]."
    elif table and any(a[0] >= b[0] for a, b in pairwise(table)):
        yield "advance_table", "the speeds do not ascend", "Sort the table by speed."
    if ignition.dwell_ms > ignition.longest_dwell_ms:
        yield (
            "longest_dwell_ms",
            "the longest dwell is shorter than the dwell",
            f"Write at least {ignition.dwell_ms:g}.",
        )


@found.register
def _controller(settings: ControllerSettings) -> Contradictions:
    needs_cam = isinstance(settings.wheel, EvenTeeth | SlottedDisc) or settings.phase.by != "none"
    if settings.cam is None and needs_cam:
        yield "cam", "this wheel and phase need a second input", "Add 'cam:' with its line."
    if settings.cam and settings.cam.line == settings.crank.line:
        yield "cam", "both inputs are on one line", f"Name another line than {settings.cam.line}."
    ignition = settings.ignition
    if ignition and ignition.coils == "pairs" and len(settings.engine.firing_order) % 2:
        yield "ignition", "an odd number of cylinders has no pairs", "Write coils: per_cylinder."

"""Bench files: what a colleague is sent so that they see the same thing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from edgewheel.bench.copies import (
    CONTROLLER,
    MOTION,
    WHEEL,
    Inputs,
    bench_tree,
    with_copies_of,
)
from edgewheel.bench.feed import read_feed
from edgewheel.bench.plan import (
    BoardChoice,
    ControllerChoice,
    Plan,
    Staircase,
    voltage_tracks,
)
from edgewheel.bench.real_controllers import (
    CONTROLLER_KINDS,
    read_real_controller,
    simulated_controller,
)
from edgewheel.bench.sparks import default_signals
from edgewheel.bench.stages import heard, read_stage
from edgewheel.bench.wording import read_limits, read_signals
from edgewheel.controller.sim.reading import read_settings
from edgewheel.errors import UsageError
from edgewheel.fault.loader import read_faults
from edgewheel.fault.signal import signal_of
from edgewheel.motion.loader import read_motion, speed_tables
from edgewheel.motion.motion import Motion
from edgewheel.motion.ripple_reading import read_ripple
from edgewheel.motion.segment import HIGHEST_RPM
from edgewheel.wheel.amplitude import read_amplitude
from edgewheel.wheel.library import find, locate
from edgewheel.wheel.model import Sensor, SensorKind, Wheel
from edgewheel.yamlfile import Node, Section, is_path, load, read_text

HIGHEST_TICK_HZ = 10**9
LARGEST_SEED = 2**63 - 1


def load_plan(path: Path) -> Plan:
    """The plan in a bench file. Raises FileError, UsageError."""
    return read_plan(bench_tree(path), path)


def read_plan(document: Node, path: Path) -> Plan:
    """The plan in a bench file's tree, whose other files are found from the folder of `path`."""
    section = _bench_section(document)
    name = section.required("name").text()
    wheel_file = _wheel_file(path, section.required("wheel"))
    wheel = find(wheel_file)
    sensors = read_sensors(section.optional("sensors"), wheel)
    tracks = tuple(track.name for track in wheel.tracks)
    stage = read_stage(section.optional("stage"), tracks, sensors)
    faults_node = section.optional("faults")
    voltages = voltage_tracks(wheel, stage)
    faults = read_faults(faults_node, wheel, sensors, voltages) if faults_node else {}
    controller, controller_files = _read_controller(section.required("controller"), path)
    signals = section.optional("signals")
    defaults = default_signals(controller)
    limits = read_limits(section.optional("limits"))
    seed = section.optional("seed")
    feed_node = section.optional("feed")
    feed = read_feed(feed_node, len(tracks)) if feed_node else None
    seed_number = seed.integer(0, LARGEST_SEED) if seed else 0
    motion, motion_files = _read_motion(section.optional("motion"), path)
    capture = section.optional("capture")
    named = ((WHEEL, (wheel_file,)), (CONTROLLER, controller_files), (MOTION, motion_files))
    plan = Plan(
        name,
        wheel,
        signal_of(wheel, heard(sensors, stage), motion, faults, seed_number),
        _read_board(section.optional("board")),
        controller,
        stage,
        read_signals(signals, defaults, wheel) if signals else defaults,
        replace(limits, from_s=float(feed.ready_s) if feed else 0.0),
        seed_number,
        _read_sweep(section.optional("sweep")),
        document,
        _inputs(path, named),
        feed,
    )
    section.finish()
    return _replaying(plan, capture, path) if capture else plan


def _bench_section(document: Node) -> Section:
    """A bench file's section, its format read; refuses the files that are given in its place."""
    section, file = document.section(), document.place.file
    has_wheel = "wheel" in section.nodes
    if "tracks" in section.nodes and not has_wheel:
        remedy = f"Write one that names it: 'wheel: {file}', and its 'controller:'."
        raise document.refuse("this is a wheel, no bench file", remedy)
    if "tests" in section.nodes and not has_wheel:
        remedy = f"Play it with 'edgewheel qualify {file}', or name the bench file in it."
        raise document.refuse("this is a plan of tests, no bench file", remedy)
    form = section.required("format")
    if form.integer() != 1:
        raise form.refuse(f"format {form.content} is not known", "Write 'format: 1'.")
    return section


def _inputs(path: Path, named: Iterable[tuple[str, Iterable[Path]]]) -> Inputs:
    """Copies of the bench file and of the files that it names under some keys."""
    inputs: Inputs = ((path.name, read_text(path)),)
    for role, files in named:
        inputs = with_copies_of(inputs, role, files)
    return inputs


def _replaying(plan: Plan, capture: Node, path: Path) -> Plan:
    """The plan with what a capture says; what learns from captures is imported only for one."""
    from edgewheel.bench.replay import with_capture_of

    return with_capture_of(plan, capture, path)


def _wheel_file(path: Path, node: Node) -> Path:
    """A wheel's file: the library's, or one found from the bench file. Raises FileError."""
    text = node.text()
    try:
        return path.parent / text if is_path(text) else locate(text)
    except UsageError as error:
        problem, _, remedy = str(error).partition("\n  ")
        raise node.refuse(problem, remedy) from error


def read_sensors(node: Node | None, wheel: Wheel) -> tuple[Sensor, ...]:
    """The wheel's sensors, with what the bench file says of some of them."""
    sensors = {track.name: track.sensor for track in wheel.tracks}
    if node is not None:
        section = node.section()
        for name in sensors:
            own = section.optional(name)
            if own is not None:
                sensors[name] = _read_sensor(own.section(), sensors[name])
        section.finish()
    return tuple(sensors.values())


def _read_sensor(section: Section, sensor: Sensor) -> Sensor:
    kind_node = section.optional("kind")
    metal = section.optional("metal")
    amplitude = section.optional("amplitude")
    section.finish()
    kind: SensorKind = kind_node.choice(("hall", "vr")) if kind_node else sensor.kind
    unchanged = sensor.amplitude if kind == "vr" else None
    return replace(
        sensor,
        kind=kind,
        metal=metal.choice(("high", "low")) if metal else sensor.metal,
        amplitude=read_amplitude(amplitude, kind) if amplitude else unchanged,
        # No reluctor can tell which way the wheel turns.
        direction=None if kind == "vr" else sensor.direction,
    )


def _read_board(node: Node | None) -> BoardChoice:
    """`sim`, `auto`, a port, or a mapping of the simulated board's clock."""
    if node is None or node.content == "sim":
        return BoardChoice()
    if node.content == "auto":
        return BoardChoice("auto")
    if isinstance(node.content, str):
        return BoardChoice("port", node.text())
    section = node.section()
    section.required("kind").choice(("sim",))
    tick_hz = section.optional("tick_hz")
    section.finish()
    return BoardChoice(
        "sim", tick_hz=tick_hz.integer(1_000_000, HIGHEST_TICK_HZ) if tick_hz else 125_000_000
    )


def _read_controller(node: Node, path: Path) -> tuple[ControllerChoice, tuple[Path, ...]]:
    """The controller, and the files it was read from."""
    section = node.section()
    kind = section.required("kind").choice(CONTROLLER_KINDS)
    if kind != "sim":
        return read_real_controller(kind, section, path.parent)
    settings = section.required("settings")
    section.finish()
    if isinstance(settings.content, str):
        file = path.parent / settings.text()
        return simulated_controller(read_settings(load(file))), (file,)
    return simulated_controller(read_settings(settings)), ()


def _read_motion(node: Node | None, path: Path) -> tuple[Motion, tuple[Path, ...]]:
    """The motion, inline or in a file, and the files that it was read from."""
    if node is None:
        return Motion(), ()
    if not isinstance(node.content, str):
        return read_motion(node, path.parent), speed_tables(node, path.parent)
    file = path.parent / node.text()
    motion = load(file)
    return read_motion(motion, file.parent), (file, *speed_tables(motion, file.parent))


def _read_sweep(node: Node | None) -> Staircase | None:
    if node is None:
        return None
    section = node.section()
    low = section.required("from").number(above=0, maximum=HIGHEST_RPM)
    high_node = section.required("to")
    high = high_node.number(above=0, maximum=HIGHEST_RPM)
    step_node = section.required("step")
    step = step_node.number(above=0, maximum=HIGHEST_RPM)
    if high <= low:
        raise high_node.refuse(f"{high_node.content} is not above 'from'", "Sweep upwards.")
    if (high - low) / step > 10_000:
        raise step_node.refuse("this makes over 10,000 points", "Write a larger step.")
    usual = Staircase(low, high, step)
    rate = section.optional("rate")
    settle = section.optional("settle")
    stay = section.optional("hold")
    ripple = section.optional("ripple")
    section.finish()
    return replace(
        usual,
        rpm_per_s=rate.number(above=0) if rate else usual.rpm_per_s,
        settle_s=settle.number(above=0, maximum=3600) if settle else usual.settle_s,
        hold_s=stay.number(above=0, maximum=3600) if stay else usual.hold_s,
        ripple=read_ripple(ripple) if ripple else usual.ripple,
    )

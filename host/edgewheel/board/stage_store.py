"""What is known of the stages behind a board's outputs: measured ones, kept by the board's id in
this user's data folder, and the simulated ones that come with edgewheel.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import yaml
from platformdirs import user_data_path

from edgewheel.wholefile import make_folder, write_whole
from edgewheel.yamlfile import Node, load

SHIPPED = Path(__file__).with_name("stage_delays.yaml")
LONGEST_DELAY_US = 10_000


@dataclass(frozen=True)
class KnownStage:
    """One output's stage: inversion, microseconds to a rise and a fall of the controller's line,
    and where the numbers are from, in words.
    """

    inverts: bool
    rise_us: Fraction
    fall_us: Fraction
    origin: str


def simulated(rail_v: Node, pull_up_ohm: Node) -> KnownStage:
    """The Hall stage of `hardware/` on a rail, with a pull-up. Raises FileError if there is none
    such.
    """
    rails = load(SHIPPED).section().required("hall").section()
    rail = str(rail_v.integer())
    if rail not in rails.nodes:
        known = " or ".join(rails.nodes)
        raise rail_v.refuse(f"no stage is known on a rail of {rail} V", f"Write {known}.")
    pull_ups = rails.required(rail).section()
    pull_up = str(pull_up_ohm.integer())
    if pull_up not in pull_ups.nodes:
        known = " or ".join(pull_ups.nodes)
        raise pull_up_ohm.refuse(f"no stage has a pull-up of {pull_up} ohm", f"Write {known}.")
    origin = f"simulated, {rail} V through {pull_up} ohm"
    return _stage(pull_ups.required(pull_up), origin)


@dataclass(frozen=True)
class KnownVoltage:
    """A VR output's stage, the millivolts that it makes of the highest code, and the corner of the
    high-pass in it.
    """

    stage: KnownStage
    full_scale_mv: Fraction
    corner_hz: Fraction


def simulated_voltage(leads: Node) -> KnownVoltage:
    """The VR stage of `hardware/` by how its leads lie. Raises FileError if they cannot lie so."""
    outputs = load(SHIPPED).section().required("vr").section()
    name = leads.choice(tuple(outputs.nodes))
    figures = outputs.required(name).section()
    delay_us = figures.required("delay_us").number(above=0)
    stage = KnownStage(
        figures.required("inverts").flag(), delay_us, delay_us, f"simulated, VR output, {name}"
    )
    full_scale_mv = 1000 * figures.required("full_scale_v").number(above=0)
    return KnownVoltage(stage, full_scale_mv, figures.required("corner_hz").number(above=0))


class StageStore:
    """Measured stages, a file for each board."""

    def __init__(self, folder: Path | None = None) -> None:
        self._folder = folder or user_data_path("edgewheel") / "stages"

    def file(self, board: bytes) -> Path:
        """Where the stages behind the board with this id are kept."""
        return self._folder / f"{board.hex()}.yaml"

    def keep(self, board: bytes, measured: Mapping[int, KnownStage]) -> Path:
        """Keep stages by output, numbered from 0, beside what is known of others; the file.

        Raises FileError if what is there cannot be read, BenchError if it cannot be written.
        """
        known = {**self.find(board), **measured}
        outputs = {
            output + 1: {
                "inverts": one.inverts,
                "rise_us": float(one.rise_us),
                "fall_us": float(one.fall_us),
                "origin": one.origin,
            }
            for output, one in sorted(known.items())
        }
        file = self.file(board)
        make_folder(file.parent)
        data = {"format": 1, "board": board.hex(), "outputs": outputs}
        write_whole(file, yaml.safe_dump(data, sort_keys=False, width=100))
        return file

    def find(self, board: bytes) -> dict[int, KnownStage]:
        """The stages behind a board by output, numbered from 0; none if none was measured.

        Raises FileError if the file cannot be read.
        """
        file = self.file(board)
        if not file.is_file():
            return {}
        outputs = load(file).section().required("outputs").section()
        found = {}
        for name in outputs.nodes:
            node = outputs.required(name)
            found[int(name) - 1] = _stage(node, node.section().required("origin").text())
        return found


def _stage(node: Node, origin: str) -> KnownStage:
    section = node.section()
    return KnownStage(
        section.required("inverts").flag(),
        section.required("rise_us").number(0, LONGEST_DELAY_US),
        section.required("fall_us").number(0, LONGEST_DELAY_US),
        origin,
    )

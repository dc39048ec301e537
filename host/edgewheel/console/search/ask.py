"""What each search needs to know, with what is likeliest meant already in the fields."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

from textual.app import App

from edgewheel.bench.live.state import FaultState
from edgewheel.bench.plan import Staircase
from edgewheel.console import choices
from edgewheel.console.desk import Desk
from edgewheel.console.dialogs.choose import ChooseDialog
from edgewheel.console.dialogs.form import Field, FormDialog
from edgewheel.console.numbers import numbers_of
from edgewheel.console.search.job import Job
from edgewheel.errors import UsageError
from edgewheel.search.axis import SPEED, Axis, axis_from_words
from edgewheel.search.trial import RunUp
from edgewheel.yamlfile import parse_number

USUAL_STAIRS = Staircase(Fraction(500), Fraction(7000), Fraction(500))
SPEED_ENDS = "500", "7000"
MOST_FACTOR = 5
"""A fault's number is at first looked for between this part of it and so many times."""


class Asking:
    """Asks for one search and gives the job to `begin`."""

    def __init__(self, desk: Desk, begin: Callable[[Job], None]) -> None:
        self._desk = desk
        self._begin = begin

    def ask(self, kind: str, app: App[None]) -> None:
        """Show the dialogue of a search. Raises EdgewheelError where it cannot be."""
        if kind == "diagnose":
            self._diagnose()
        elif kind == "qualify":
            plans = choices.suites(Path.cwd())
            app.push_screen(ChooseDialog("Plan of tests", plans, free=True), self._qualify)
        else:
            title, fields, take = {
                "sweep": ("Sweep", self._stairs_fields(), self._sweep),
                "threshold": ("Threshold", self._threshold_fields(), self._threshold),
                "envelope": ("Envelope", self._envelope_fields(), self._envelope),
            }[kind]
            app.push_screen(FormDialog(title, fields, take))

    def _stairs_fields(self) -> list[Field]:
        stairs = self._desk.plan.sweep or USUAL_STAIRS
        ends = (stairs.low_rpm, stairs.high_rpm, stairs.step_rpm)
        names = ("from rpm", "to rpm", "step rpm")
        return [Field(name, f"{float(end):g}") for name, end in zip(names, ends, strict=True)]

    def _threshold_fields(self) -> list[Field]:
        address, low, high = self._likely()
        return [*self._axis_fields("", address, low, high), self._speed_field()]

    def _envelope_fields(self) -> list[Field]:
        address, low, high = self._likely()
        across = self._axis_fields("x ", SPEED, *SPEED_ENDS)
        if address == SPEED:
            address, low, high = "", "", ""
        return [*across, *self._axis_fields("y ", address, low, high), Field("halvings", "4")]

    def _axis_fields(self, which: str, address: str, low: str, high: str) -> list[Field]:
        return [
            Field(f"{which}number", address, (SPEED, *self._addresses())),
            Field(f"{which}from", low),
            Field(f"{which}to", high),
        ]

    def _speed_field(self) -> Field:
        return Field("at rpm", f"{float(self._desk.wish_rpm):g}")

    def _likely(self) -> tuple[str, str, str]:
        """The first number of a fault that is held; the speed where none is."""
        for address, text in self._addresses().items():
            value = parse_number(text)
            if value and value > 0 and self._is_held(address.split(".")[1]):
                low, high = value / MOST_FACTOR, value * MOST_FACTOR
                return address, f"{float(low):g}", f"{float(high):g}"
        return (SPEED, *SPEED_ENDS)

    def _addresses(self) -> dict[str, str]:
        """Every number of a fault by its address."""
        document = self._desk.plan.document
        return {
            number.address: number.text
            for name in self._desk.player.state.faults
            for number in numbers_of(document, name)
            if parse_number(number.text) is not None
        }

    def _is_held(self, fault: str) -> bool:
        return self._desk.player.state.faults.get(fault) is FaultState.HELD

    def _sweep(self, words: list[str]) -> None:
        from edgewheel.console.search.jobs import SweepJob

        # The record holds the bench file as it is played, so the staircase has to stand in it.
        plan = self._desk.to_search(stairs=(words[0], words[1], words[2]))
        self._begin(SweepJob(plan, self._desk.runs))

    def _threshold(self, words: list[str]) -> None:
        from edgewheel.console.search.jobs import ThresholdJob

        *axis_words, speed = words
        axis = axis_from_words(axis_words)
        plan = self._desk.to_search(_faults_of(axis))
        run_up = RunUp(None if axis.address == SPEED else _number(speed))
        self._begin(ThresholdJob(plan, self._desk.file, axis, run_up, self._desk.runs))

    def _envelope(self, words: list[str]) -> None:
        from edgewheel.console.search.jobs import EnvelopeJob

        x, y = axis_from_words(words[:3]), axis_from_words(words[3:6])
        halvings = _count(words[6])
        plan = self._desk.to_search(_faults_of(x, y))
        run_up = RunUp(None if SPEED in (x.address, y.address) else self._desk.wish_rpm)
        desk = self._desk
        self._begin(EnvelopeJob(plan, desk.file, (x, y), halvings, run_up, desk.runs))

    def _diagnose(self) -> None:
        from edgewheel.console.search.jobs import DiagnoseJob

        self._begin(DiagnoseJob(self._desk.to_search(), self._desk.runs))

    def _qualify(self, name: str | None) -> None:
        from edgewheel.console.search.qualify_job import QualifyJob

        if name is not None:
            self._begin(QualifyJob(Path(name), self._desk.runs))


def _faults_of(*axes: Axis) -> list[str]:
    """The faults in which the axes are numbers: they must be there to be varied."""
    steps = [axis.address.split(".") for axis in axes]
    return [parts[1] for parts in steps if parts[0] == "faults" and len(parts) > 1]


def _count(word: str) -> int:
    value = _number(word)
    if value.denominator != 1 or value < 1:
        raise UsageError(f"'{word}' is no number of times; write 4.")
    return int(value)


def _number(word: str) -> Fraction:
    value = parse_number(word)
    if value is None:
        raise UsageError(f"'{word}' is no number; write 250, 0.5 or 360/7.")
    return value

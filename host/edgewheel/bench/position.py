"""Whether sparks stand where the true crank angle says they must."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from edgewheel.bench.events import Pulsed
from edgewheel.bench.signals import Limits, SparkLine
from edgewheel.bench.truth import CYCLE_DEG, Truth, signed_deg
from edgewheel.motion.segment import DEG_PER_S_PER_RPM
from edgewheel.wheel.model import Wheel

MISPLACED_IN_A_ROW = 2
"""One spark may be the one under way when the speed or the advance changed."""

MISSING_CYCLES = 2
"""Engine cycles without a spark before sparks count as vanished."""


class SparkCheck:
    """Compares each spark with its cylinder's top dead centre and the advance in force."""

    def __init__(
        self, truth: Truth, wheel: Wheel, lines: Mapping[str, SparkLine], limits: Limits
    ) -> None:
        self._truth = truth
        self._lines = lines
        self._tdc_deg = {
            name: [float(deg) for number in line.cylinders for deg in wheel.dead_centres(number)]
            for name, line in lines.items()
        }
        pitch = float(tooth_pitch_deg(wheel))
        self._limit_deg = limits.position_deg if limits.position_deg is not None else pitch / 2
        self._wrong_in_a_row = 0
        self._wrong_of_line = dict.fromkeys(lines, 0)
        self._last_spark_s: float | None = None
        self._sparks = True
        self.advance_deg: float | None = None
        self.compared: int | None = 0 if lines else None
        """Sparks that were; None where no coil is named."""
        self.detail = ""

    @property
    def misplaced(self) -> bool:
        """Two wrong sparks in a row, of all coils or of one: a position may be wrong in a part of
        each turn only, and then some coils fire right.
        """
        worst = max(self._wrong_of_line.values(), default=0)
        return max(self._wrong_in_a_row, worst) >= MISPLACED_IN_A_ROW

    def take(self, pulse: Pulsed) -> None:
        """Look at an edge; only sparks count."""
        line = self._lines.get(pulse.line)
        if line is None or pulse.level != (line.edge == "rise"):
            return
        self._last_spark_s = pulse.seconds
        if self.advance_deg is None or not self._tdc_deg[pulse.line]:
            return
        self.compared = (self.compared or 0) + 1
        angle = self._truth.angle_deg(pulse.seconds) + self.advance_deg
        errors = [signed_deg(angle - tdc) for tdc in self._tdc_deg[pulse.line]]
        error = min(errors, key=abs)
        if abs(error) <= self._limit_deg:
            self._wrong_in_a_row = self._wrong_of_line[pulse.line] = 0
            return
        self._wrong_in_a_row += 1
        self._wrong_of_line[pulse.line] += 1
        self.detail = f"{pulse.line} fires {abs(error):.1f} degrees too {_way(error)}"

    def forget(self, seconds: float) -> None:
        """What sparks did until then is not known: they count, and are waited for, from there."""
        self._wrong_in_a_row = 0
        self._wrong_of_line = dict.fromkeys(self._lines, 0)
        if self._last_spark_s is not None:
            self._last_spark_s = seconds

    def vanished_or_back(self, seconds: float, rpm: float) -> bool | None:
        """False when sparks have just vanished, True when they are back, None otherwise."""
        if self._last_spark_s is None:
            return None
        patience_s = MISSING_CYCLES * CYCLE_DEG / (DEG_PER_S_PER_RPM * rpm)
        sparks = seconds - self._last_spark_s <= patience_s
        if sparks == self._sparks:
            return None
        self._sparks = sparks
        return sparks


def tooth_pitch_deg(wheel: Wheel) -> Fraction:
    """The least distance of two tooth beginnings of one track, in crank degrees."""
    distances = []
    for track in wheel.tracks:
        begins = [tooth.begin for tooth in track.crank_teeth(wheel.period)]
        later = [*begins[1:], begins[0] + wheel.period]
        distances += [b - a for a, b in zip(begins, later, strict=True)]
    return min(distances)


def _way(error_deg: float) -> str:
    return "late" if error_deg > 0 else "early"

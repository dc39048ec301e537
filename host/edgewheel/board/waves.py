"""The waves of the simulated board: how high the half-waves of its VR outputs are."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from edgewheel.link.messages import WAVE_OFF, Config, MalformedError
from edgewheel.link.pinbus import Peaks
from edgewheel.link.waves import LONGEST_HALF_WAVE, WaveForm, WaveTrack

Ints = npt.NDArray[np.int64]
Bytes = npt.NDArray[np.uint8]


class Waves:
    """What CONFIG said of each wave, and what follows for the transitions of a run."""

    def __init__(self, waves: int, outputs: int) -> None:
        self._waves = waves
        self._outputs = outputs
        self._forms: dict[int, tuple[int, WaveForm]] = {}
        self._following: list[_Voltage] = []
        self.open(0)

    @property
    def configured(self) -> int:
        """Which waves are switched on, a bit each."""
        return sum(1 << wave for wave in self._forms)

    def configure(self, config: Config) -> bool:
        """Take what CONFIG says, or change nothing and return False. Raises MalformedError."""
        if config.wave >= self._waves:
            return False
        if config.output == WAVE_OFF:
            self._forms.pop(config.wave, None)
            return True
        try:
            form = WaveForm.read(config.fields)
        except MalformedError:
            raise
        except ValueError:
            return False
        if config.output >= self._outputs:
            return False
        self._forms[config.wave] = config.output, form
        return True

    def open(self, mask: int) -> None:
        """A run is armed, the pins at a mask."""
        self._following = [_Voltage(line, form, mask) for line, form in self._forms.values()]

    def follow(self, ticks: Ints, masks: Bytes) -> None:
        """Transitions of a run, by board ticks."""
        for voltage in self._following:
            voltage.follow(ticks, masks)

    def rest(self, ticks: Ints, masks: Bytes) -> None:
        """Changes of the pins that belong to no run: there is no voltage."""
        for voltage in self._following:
            voltage.rest()
            voltage.follow(ticks, masks)

    def take_peaks(self) -> tuple[Peaks, ...]:
        """The heights, in codes, of the half-waves that ended since the last call."""
        return tuple(voltage.take() for voltage in self._following)


class _Voltage:
    """The half-waves of one output; the one before its first transition has no height."""

    def __init__(self, line: int, form: WaveForm, mask: int) -> None:
        self._line = line
        self._form = form
        self._mask = mask
        self._level = mask >> line & 1
        self._ticks: list[int] = []
        self._heights: list[int] = []
        self.rest()

    def rest(self) -> None:
        self._track = WaveTrack(self._form)
        self._begin: int | None = None

    def follow(self, ticks: Ints, masks: Bytes) -> None:
        levels = masks >> np.uint8(self._line) & np.uint8(1)
        changed = levels != np.concatenate((np.array([self._level], np.uint8), levels[:-1]))
        begin, mask = self._begin, self._mask
        for end, end_mask in zip(ticks[changed].tolist(), masks[changed].tolist(), strict=True):
            height = 0
            if begin is not None and end - begin <= LONGEST_HALF_WAVE:
                height = self._track.tell(end - begin, mask).height
            self._ticks.append(end)
            self._heights.append(height)
            begin, mask = end, end_mask
        self._begin, self._mask = begin, mask
        self._level = mask >> self._line & 1

    def take(self) -> Peaks:
        ticks, heights = self._ticks, self._heights
        self._ticks, self._heights = [], []
        return Peaks(self._line, np.array(ticks, np.int64), np.array(heights, np.float64))

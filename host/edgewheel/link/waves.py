"""What CONFIG says of a VR sensor's voltage, and what follows from it: PROTOCOL.md section 7."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass

from edgewheel.link.messages import WAVE_OFF, Config, MalformedError
from edgewheel.wheel.model import MOST_TRACKS

POINTS = 17
MOST_HALF_WAVES = 8
LARGEST_PEAK = 0x7FFF
LARGEST_KNEE = 0x0FFF_FFFF
LARGEST_CORNER = 0xFFFF_FFFF
FULL_STRENGTH = 4095
MOST_NUMBER_BITS = 4
UNTOLD = 15

LONGEST_STEP = 8
TOLD = 2
MOST_SPIKES = 8
MOST_MISFITS = 4
LONGEST_HALF_WAVE = 0xFFFF_FFFF

_KIND_BIT = 12

_PEAK, _HALF_WAVE, _APPROACH, _CORNER, _NUMBERS = range(1, 6)


@dataclass(frozen=True)
class HalfWave:
    """One kind of half-wave: its ticks at the knee's speed, and its shape.

    `shape` has `POINTS` bytes, from the crossing at the tooth's centre to the one between teeth.
    """

    knee_ticks: int
    shape: bytes

    def __post_init__(self) -> None:
        if not 0 < self.knee_ticks <= LARGEST_KNEE or len(self.shape) != POINTS:
            raise ValueError(f"no half-wave of {self.knee_ticks} ticks, {len(self.shape)} points")


@dataclass(frozen=True)
class Number:
    """What a number says of a half-wave: its strength in `FULL_STRENGTH`ths, and its kind, which is
    its place in the list of half-waves, or `UNTOLD`.
    """

    strength: int = FULL_STRENGTH
    kind: int = UNTOLD

    def __post_init__(self) -> None:
        if not 0 <= self.strength <= FULL_STRENGTH or not 0 <= self.kind <= UNTOLD:
            raise ValueError(f"no half-wave has a strength of {self.strength}, kind {self.kind}")

    @property
    def word(self) -> int:
        """The number as CONFIG carries it."""
        return self.kind << _KIND_BIT | self.strength

    @classmethod
    def of_word(cls, word: int) -> Number:
        """The number that CONFIG carries."""
        return cls(word & FULL_STRENGTH, word >> _KIND_BIT)


@dataclass(frozen=True)
class Numbers:
    """What the numbers say that outputs form when a half-wave begins.

    `first_output` is the lowest of 1 to `MOST_NUMBER_BITS` of them, its level the lowest bit.
    """

    first_output: int
    numbers: tuple[Number, ...]

    def __post_init__(self) -> None:
        counts = [1 << bits for bits in range(1, MOST_NUMBER_BITS + 1)]
        if len(self.numbers) not in counts:
            raise ValueError(f"there cannot be {len(self.numbers)} numbers")
        if self.first_output < 0 or len(self.numbers) << self.first_output > 1 << MOST_TRACKS:
            raise ValueError(f"there are not that many outputs from {self.first_output} on")

    def of(self, mask: int) -> Number:
        """What the outputs at a mask say."""
        return self.numbers[mask >> self.first_output & len(self.numbers) - 1]


_ORDINARY = Number()


@dataclass(frozen=True)
class WaveForm:
    """The voltage of one VR sensor. ValueError for what a board would refuse.

    `half_waves` ascend by `knee_ticks`; `peak` is the height of a code at the knee; `approach` is
    the level of half-waves that lead up to a tooth's centre. `corner_ticks` is the time constant of
    the high-pass behind the board, 0 if there is none.
    """

    peak: int
    approach: int
    half_waves: tuple[HalfWave, ...]
    corner_ticks: int = 0
    numbers: Numbers | None = None

    def __post_init__(self) -> None:
        knees = [one.knee_ticks for one in self.half_waves]
        if not 0 < len(knees) <= MOST_HALF_WAVES or sorted(set(knees)) != knees:
            raise ValueError("half-waves must ascend, and there must be 1 to 8 of them")
        if not 0 < self.peak <= LARGEST_PEAK or self.approach not in (0, 1):
            raise ValueError(f"a peak of {self.peak} or a level of {self.approach} cannot be")
        if not 0 <= self.corner_ticks <= LARGEST_CORNER:
            raise ValueError(f"a time constant of {self.corner_ticks} ticks cannot be")
        told = self.numbers.numbers if self.numbers is not None else ()
        if not all(one.kind in (*range(len(knees)), UNTOLD) for one in told):
            raise ValueError("a number is of a kind that is not listed")

    def config(self, wave: int, output: int) -> Config:
        """The CONFIG that has a wave follow an output in this form."""
        fields = _field(_PEAK, self.peak.to_bytes(2, "little"))
        for one in self.half_waves:
            fields += _field(_HALF_WAVE, one.knee_ticks.to_bytes(4, "little") + one.shape)
        fields += _field(_APPROACH, bytes((self.approach,)))
        if self.corner_ticks:
            fields += _field(_CORNER, self.corner_ticks.to_bytes(4, "little"))
        if self.numbers is not None:
            told = b"".join(one.word.to_bytes(2, "little") for one in self.numbers.numbers)
            fields += _field(_NUMBERS, bytes((self.numbers.first_output,)) + told)
        return Config(wave, output, fields)

    @classmethod
    def read(cls, fields: bytes) -> WaveForm:
        """What the fields of a CONFIG say. MalformedError if they are cut off, else ValueError."""
        peak, approach, corner_ticks, numbers, half_waves = 0, 1, 0, None, []
        # All at once: fields that are cut off are malformed, whatever those before them say.
        for tag, value in list(_tagged(fields)):
            if tag == _HALF_WAVE:
                half_waves.append(HalfWave(int.from_bytes(value[:4], "little"), value[4:]))
            elif tag == _PEAK:
                peak = _number(value, 2, 1, LARGEST_PEAK)
            elif tag == _APPROACH:
                approach = _number(value, 1, 0, 1)
            elif tag == _CORNER:
                corner_ticks = _number(value, 4, 1, LARGEST_CORNER)
            elif tag == _NUMBERS:
                numbers = _numbers(value)
        return cls(peak, approach, tuple(half_waves), corner_ticks, numbers)

    def number(self, mask: int) -> Number:
        """What is told of a half-wave that begins with the outputs at a mask."""
        return _ORDINARY if self.numbers is None else self.numbers.of(mask)


def switched_off(wave: int) -> Config:
    """The CONFIG that switches a wave off."""
    return Config(wave, WAVE_OFF, b"")


def _field(tag: int, value: bytes) -> bytes:
    return bytes((tag, len(value))) + value


def _number(value: bytes, size: int, least: int, most: int) -> int:
    number = int.from_bytes(value, "little")
    if len(value) != size or not least <= number <= most:
        raise ValueError(f"{value.hex()} is not a number of {size} bytes, {least} to {most}")
    return number


def _numbers(value: bytes) -> Numbers:
    if len(value) % 2 == 0:
        raise ValueError(f"{value.hex()} is no list of numbers")
    words = (int.from_bytes(value[at : at + 2], "little") for at in range(1, len(value), 2))
    return Numbers(value[0], tuple(map(Number.of_word, words)))


def _tagged(fields: bytes) -> Iterator[tuple[int, bytes]]:
    at = 0
    while at < len(fields):
        value = fields[at + 2 : at + 2 + fields[at + 1]] if at + 2 <= len(fields) else None
        if value is None or len(value) < fields[at + 1]:
            raise MalformedError("Config ends within a field")
        yield fields[at], value
        at += 2 + len(value)


@dataclass(frozen=True, slots=True)
class Told:
    """What a half-wave is: its kind, and its height in codes."""

    kind: int
    height: int


def _alike(one: int, other: int, most: int, least: int) -> bool:
    """Whether one is at most `most / least` of the other, and the other of the one."""
    return least * one <= most * other and least * other <= most * one


@dataclass(frozen=True, slots=True)
class _Speed:
    """The speed at which a half-wave of a kind lasts so many ticks."""

    knee_ticks: int
    ticks: int


class WaveTrack:
    """Tells the half-waves of one output in a run, one after the other."""

    def __init__(self, form: WaveForm) -> None:
        self.form = form
        self._knees = [one.knee_ticks for one in form.half_waves]
        self._kept: _Speed | None = None
        self._before: _Speed | None = None  # kept before the last half-wave, if that did not fit
        self._spike_ticks = 0  # of the last half-wave, if that was a spike
        self._spikes = 0
        self._misfits = 0

    def tell(self, ticks: int, mask: int = 0) -> Told:
        """What the next half-wave is; it lasts `ticks`, 1 to `LONGEST_HALF_WAVE`, and begins with
        the outputs at a mask.
        """
        number = self.form.number(mask)
        told = self._told(ticks, None if number.kind == UNTOLD else number.kind)
        return Told(told.kind, told.height * number.strength // FULL_STRENGTH)

    def _told(self, ticks: int, wanted: int | None) -> Told:
        """The same of a half-wave of full strength, whose number says which kind it is."""
        kept = self._kept
        if kept is None:
            return self._keep(wanted or 0, ticks, None)
        seen = ticks * kept.knee_ticks
        first, last = (self._knees[kind] * kept.ticks for kind in (0, -1))
        short = 8 * seen < 3 * first
        speeds_up = 8 * seen >= first and _alike(ticks, self._spike_ticks, 4, 3)
        if short and self._spikes < MOST_SPIKES and not speeds_up:
            return self._spike(self._before or kept, ticks)
        if seen > LONGEST_STEP * last:
            self._forget()
            return Told(len(self._knees) - 1, self._height(_Speed(self._knees[-1], ticks)))
        kind = self._nearest(seen, kept.ticks)
        if wanted is not None and _alike(seen, self._knees[wanted] * kept.ticks, TOLD, 1):
            kind = wanted
        expected = self._knees[kind] * kept.ticks
        longest = kind == len(self._knees) - 1 and seen > last
        if _alike(seen, expected, 5, 4) or longest:
            return self._keep(kind, ticks, None)
        self._misfits += 1
        if self._misfits > MOST_MISFITS:
            return self._keep(kind, ticks, None)
        if self._spike_ticks and not short:
            self._spike_ticks = self._spikes = 0
            return Told(kind, self._height(kept))
        return self._keep(kind, ticks, kept)

    def _spike(self, kept: _Speed, ticks: int) -> Told:
        self._kept, self._before = kept, None
        self._spike_ticks = ticks
        self._spikes += 1
        return Told(0, self._height(kept))

    def _keep(self, kind: int, ticks: int, before: _Speed | None) -> Told:
        """`before` is what a spike brings back: None for a half-wave that fits."""
        self._kept, self._before = _Speed(self._knees[kind], ticks), before
        self._spike_ticks = self._spikes = 0
        if before is None:
            self._misfits = 0
        return Told(kind, self._height(self._kept))

    def _forget(self) -> None:
        self._kept = self._before = None
        self._spike_ticks = self._spikes = self._misfits = 0

    def _nearest(self, seen: int, known: int) -> int:
        above = bisect_left(self._knees, seen, key=lambda knee: knee * known)
        if above == len(self._knees):
            return above - 1
        if above and seen - self._knees[above - 1] * known <= self._knees[above] * known - seen:
            return above - 1
        return above

    def _height(self, speed: _Speed) -> int:
        peak, knee, ticks = self.form.peak, speed.knee_ticks, speed.ticks
        return peak if ticks <= knee else peak * knee // ticks

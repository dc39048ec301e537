"""VCD files (IEEE 1364-2005, clause 18): wires and registers, vectors bit by bit, reals by level.

Declarations are read by pyvcd. Changes, of which there may be millions, are words between white
space, so the file is cut into words block by block.
"""

from __future__ import annotations

import io
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import BinaryIO

import numpy as np
from vcd.reader import TokenKind, VarDecl, VCDParseError, tokenize

from edgewheel.edges.captures.capture import Capture, table_of, track_names
from edgewheel.edges.captures.clock import FINEST_HZ
from edgewheel.edges.captures.glitches import without_glitches
from edgewheel.edges.captures.options import ReadOptions
from edgewheel.edges.captures.sampled import rule_for
from edgewheel.edges.table import EdgeChunk
from edgewheel.errors import FileError, Place
from edgewheel.wheel.model import MOST_TRACKS

BLOCK = 1 << 22
LONGEST_HEADER = 1 << 24
END = b"$enddefinitions"
MOST_BITS = 64


@dataclass
class _Signal:
    """What one name did: times in units of the time scale, and values."""

    name: str
    real: bool = False
    times: list[int] = field(default_factory=list)
    values: list[float] = field(default_factory=list)


@dataclass
class _Body:
    """The changes as they are read, by the codes of the file."""

    path: Path
    scalars: dict[bytes, list[_Signal]] = field(default_factory=lambda: defaultdict(list))
    vectors: dict[bytes, list[list[_Signal]]] = field(default_factory=lambda: defaultdict(list))
    reals: dict[bytes, list[_Signal]] = field(default_factory=lambda: defaultdict(list))
    now: int = 0
    unknown: int = 0

    def take(self, words: Iterator[bytes]) -> None:
        """Read all changes. Raises FileError."""
        for word in words:
            head = word[:1]
            if head == b"#":
                self._time(word)
            elif head in b"01":
                for signal in self.scalars.get(word[1:], ()):
                    signal.times.append(self.now)
                    signal.values.append(head == b"1")
            elif head in b"bB":
                self._vector(word[1:], self._code(words))
            elif head in b"rR":
                code = self._code(words)
                for signal in self.reals.get(code, ()):
                    signal.times.append(self.now)
                    signal.values.append(float(word[1:]))
            elif head in b"xXzZuUwWlLhH-":
                self.unknown += word[1:] in self.scalars
            elif word == b"$comment":
                while next(words, b"$end") != b"$end":
                    pass

    def _time(self, word: bytes) -> None:
        try:
            time = int(word[1:])
        except ValueError as error:
            problem = f"'{word.decode('latin-1')}' is not a time"
            raise FileError(Place(str(self.path)), problem, "Export the file anew.") from error
        if time < self.now:
            raise FileError(
                Place(str(self.path)),
                f"its clock runs backwards: #{time} comes after #{self.now}",
                "Export the file anew; two captures in one file cannot be told apart.",
            )
        self.now = time

    def _code(self, words: Iterator[bytes]) -> bytes:
        code = next(words, b"")
        if not code:
            raise FileError(
                Place(str(self.path)),
                f"the file is cut off after time #{self.now}",
                "Copy it again, or delete its last line.",
            )
        return code

    def _vector(self, bits: bytes, code: bytes) -> None:
        for signals in self.vectors.get(code, ()):
            if set(bits) - set(b"01"):
                self.unknown += 1
                continue
            value = int(bits, 2)
            for number, signal in enumerate(signals):
                level = value >> number & 1
                if not signal.values or signal.values[-1] != level:
                    signal.times.append(self.now)
                    signal.values.append(level)


def read_vcd(path: Path, options: ReadOptions) -> Capture:
    """The capture in a VCD file. Raises FileError."""
    with path.open("rb") as file:
        variables, unit_s = _declarations(path, file)
        body = _Body(path)
        signals = _signals(variables, body)
        body.take(_words(file))
    chosen = _chosen(path, signals, options)
    unit, tick_hz = _ticks(unit_s)
    parts = [_edges(path, n, one, unit, options) for n, one in enumerate(chosen)]
    found = [f"a VCD file, time scale {float(unit_s):g} s, signals {_listed(signals)}"]
    found += [words for _, words in parts if words]
    if body.unknown:
        found.append(f"{body.unknown} changes to an unknown level are left out")
    chunks, dropped = without_glitches([c for c, _ in parts], options.filter_s, tick_hz)
    names = track_names([one.name.rpartition(".")[2] for one in chosen])
    return table_of(path, tick_hz, names, chunks, found + dropped)


def _declarations(path: Path, file: BinaryIO) -> tuple[list[tuple[str, VarDecl]], Fraction]:
    """Variables with the scopes they are in, and the seconds of the time scale.

    Leaves the file behind the declarations.
    """
    place = Place(str(path))
    head = file.read(LONGEST_HEADER)
    end = head.find(END)
    close = head.find(b"$end", end + len(END)) if end >= 0 else -1
    if close < 0:
        problem = "the file is cut off in its declarations" if head.strip() else "the file is empty"
        raise FileError(place, problem, "Copy it again, or export it anew.")
    file.seek(close + len(b"$end"))
    scopes: list[str] = []
    variables: list[tuple[str, VarDecl]] = []
    unit_s = Fraction(1, 10**9)
    try:
        for token in tokenize(io.BytesIO(head[:end] + b"\n")):
            if token.kind is TokenKind.TIMESCALE:
                scale = token.timescale
                power = ("s", "ms", "us", "ns", "ps", "fs").index(scale.unit.value)
                unit_s = Fraction(int(scale.magnitude), 1000**power)
            elif token.kind is TokenKind.SCOPE:
                scopes.append(token.scope.ident)
            elif token.kind is TokenKind.UPSCOPE:
                del scopes[-1:]
            elif token.kind is TokenKind.VAR:
                variables.append((".".join(scopes), token.var))
    except (VCDParseError, IndexError, ValueError) as error:
        problem = f"its declarations cannot be read: {error}"
        raise FileError(place, problem, "Export it anew.") from error
    return variables, unit_s


def _signals(variables: list[tuple[str, VarDecl]], body: _Body) -> list[_Signal]:
    """A signal for each bit and real, entered where their codes are looked up."""
    signals: list[_Signal] = []
    for scope, variable in variables:
        code = variable.id_code.encode()
        name = f"{scope}.{variable.reference}" if scope else variable.reference
        if variable.type_.value in ("real", "realtime"):
            signals.append(_Signal(name, real=True))
            body.reals[code].append(signals[-1])
        elif variable.size == 1:
            signals.append(_Signal(name))
            body.scalars[code].append(signals[-1])
            body.vectors[code].append([signals[-1]])
        elif variable.size <= MOST_BITS and variable.type_.value != "string":
            bits = [_Signal(f"{name}_{bit}") for bit in range(variable.size)]
            body.vectors[code].append(bits)
            signals += bits
    return signals


def _words(file: BinaryIO) -> Iterator[bytes]:
    """The words of the rest of a file; one that a block ends in is kept whole."""
    rest = b""
    while data := file.read(BLOCK):
        data = rest + data
        words = data.split()
        rest = b""
        if words and not data[-1:].isspace():
            rest = words.pop()
        yield from words
    if rest:
        yield rest


def _chosen(path: Path, signals: list[_Signal], options: ReadOptions) -> list[_Signal]:
    """The signals that are wanted, or those that change; of many, the ones that do most."""
    if options.columns:
        chosen = []
        for wanted in options.columns:
            matching = [s for s in signals if wanted in (s.name, s.name.rpartition(".")[2])]
            if not matching:
                problem = f"there is no signal '{wanted}'"
                remedy = f"Choose from {_listed(signals)}."
                raise FileError(Place(str(path)), problem, remedy)
            chosen.append(matching[0])
        return chosen
    changing = [signal for signal in signals if len(set(signal.values)) > 1]
    if not changing:
        raise FileError(
            Place(str(path)),
            f"no signal in it changes; there is {_listed(signals)}",
            "Check the wiring and the trigger of the capture.",
        )
    most = sorted(changing, key=lambda signal: -len(signal.values))[:MOST_TRACKS]
    return [signal for signal in changing if signal in most]


def _listed(signals: list[_Signal]) -> str:
    names = [signal.name for signal in signals]
    return (", ".join(names[:12]) + (", and so on" if len(names) > 12 else "")) or "none"


def _ticks(unit_s: Fraction) -> tuple[Fraction, int]:
    """Ticks in a unit of the time scale, and ticks a second, whole and at most 1e9."""
    rate = 1 / unit_s
    if rate.denominator == 1 and rate <= FINEST_HZ:
        return Fraction(1), int(rate)
    return unit_s * FINEST_HZ, FINEST_HZ


def _edges(
    path: Path, number: int, signal: _Signal, unit: Fraction, options: ReadOptions
) -> tuple[EdgeChunk, str]:
    """A signal's edges, and what to say of them. The first value is where it stood, no edge."""
    times = np.array(signal.times, np.float64 if unit != 1 else np.int64)
    ticks = np.rint(times * float(unit)).astype(np.int64) if unit != 1 else times.astype(np.int64)
    if not signal.real:
        level = np.array(signal.values, np.uint8)[1:]
        return EdgeChunk(ticks[1:], np.full(len(level), number, np.uint8), level), ""
    values = np.array(signal.values, np.float64)
    rule = rule_for(signal.name, values, options, str(path))
    places, levels = rule.detector.feed(values)
    at = np.rint(np.interp(places, np.arange(len(ticks)), ticks)).astype(np.int64)
    return EdgeChunk(at, np.full(len(at), number, np.uint8), levels), rule.words

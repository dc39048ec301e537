"""WAV files: each channel is a signal. Read with the standard library, chunk by chunk."""

from __future__ import annotations

import wave
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np

from edgewheel.edges.captures.capture import Capture, table_of, track_names
from edgewheel.edges.captures.clock import FINEST_HZ
from edgewheel.edges.captures.crossings import Floats
from edgewheel.edges.captures.glitches import without_glitches
from edgewheel.edges.captures.options import ReadOptions
from edgewheel.edges.captures.sampled import SampleEdges, rule_for
from edgewheel.errors import FileError, Place

BLOCK = 1 << 19
LOOKS, LOOK = 64, 1 << 14
"""Places in the file, and frames at each, from which the thresholds are found."""


def read_wav(path: Path, options: ReadOptions) -> Capture:
    """The capture in a WAV file of 8, 16, 24 or 32 bit samples. Raises FileError."""
    place = Place(str(path))
    try:
        opened = wave.open(str(path), "rb")  # noqa: SIM115
    except (wave.Error, EOFError) as error:
        problem = f"this is no WAV file of plain samples: {error}"
        raise FileError(place, problem, "Export it as 16 bit PCM.") from error
    with opened as file:
        frames, size = file.getnframes(), file.getsampwidth() * file.getnchannels()
        there = (path.stat().st_size - 44) // size
        if not frames or there <= 0:
            raise FileError(place, "there are no samples in it", "Record again.")
        if there < frames:
            raise FileError(
                place,
                f"the file is cut off: it says {frames:,} samples and holds {there:,}",
                "Copy it again, or save it anew with the program that recorded it.",
            )
        return _read(path, file, options)


def _read(path: Path, file: wave.Wave_read, options: ReadOptions) -> Capture:
    rate = file.getframerate()
    chosen, names = _channels(path, file.getnchannels(), options)
    part = np.concatenate(list(_looks(file)))
    rules = [
        rule_for(name, part[:, number], options, str(path))
        for number, name in zip(chosen, names, strict=True)
    ]
    fine = max(FINEST_HZ // rate, 1)
    edges = SampleEdges(rules)
    chunks = [edges.chunk(b[:, chosen], lambda places: places * fine) for b in _blocks(file)]
    found = [f"{file.getnframes():,} samples at {rate:,} a second, {8 * file.getsampwidth()} bit"]
    found += [rule.words for rule in rules]
    chunks, dropped = without_glitches(chunks, options.filter_s, rate * fine)
    if not options.filter_s:
        found += edges.check(names, Fraction(rate), str(path))
    return table_of(path, rate * fine, track_names(names), chunks, found + dropped, 1 / rate)


def _channels(path: Path, count: int, options: ReadOptions) -> tuple[list[int], list[str]]:
    """Numbers and names of the channels that are wanted."""
    names = ["left", "right"] if count == 2 else [f"channel_{n + 1}" for n in range(count)]
    if count == 1:
        names = ["signal"]
    wanted = options.columns or tuple(names)
    chosen = []
    for one in wanted:
        if one in names:
            chosen.append(names.index(one))
        elif one.isdecimal() and 1 <= int(one) <= count:
            chosen.append(int(one) - 1)
        else:
            problem = f"there is no channel '{one}'"
            raise FileError(Place(str(path)), problem, f"Choose from {', '.join(names)}.")
    return chosen, [names[n] for n in chosen]


def _looks(file: wave.Wave_read) -> Iterator[Floats]:
    frames = file.getnframes()
    step = max(frames // LOOKS, LOOK)
    for begin in range(0, frames, step):
        file.setpos(begin)
        yield _decoded(file, file.readframes(LOOK))


def _blocks(file: wave.Wave_read) -> Iterator[Floats]:
    file.rewind()
    while data := file.readframes(BLOCK):
        yield _decoded(file, data)


def _decoded(file: wave.Wave_read, data: bytes) -> Floats:
    """Samples (n, channels) from -1 to 1."""
    width = file.getsampwidth()
    if width == 1:
        samples = (np.frombuffer(data, np.uint8).astype(np.float64) - 128) / 128
    elif width == 3:
        padded = np.zeros((len(data) // 3, 4), np.uint8)
        padded[:, 1:] = np.frombuffer(data, np.uint8).reshape(-1, 3)
        samples = padded.reshape(-1).view("<i4").astype(np.float64) / 2**31
    else:
        samples = np.frombuffer(data, f"<i{width}").astype(np.float64) / 2 ** (8 * width - 1)
    return samples.reshape(-1, file.getnchannels())

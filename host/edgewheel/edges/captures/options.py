"""How a capture is to be read, where the file itself does not say."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from edgewheel.errors import UsageError
from edgewheel.yamlfile import parse_number

Kind = Literal["auto", "samples", "edges", "periods"]
Signal = Literal["auto", "level", "vr"]

_SECONDS = {
    "s": Fraction(1),
    "ms": Fraction(1, 10**3),
    "us": Fraction(1, 10**6),
    "µs": Fraction(1, 10**6),
    "ns": Fraction(1, 10**9),
    "ps": Fraction(1, 10**12),
}
_HERTZ = {"hz": 1, "khz": 10**3, "mhz": 10**6, "ghz": 10**9}


@dataclass(frozen=True)
class ReadOptions:
    """What the user says of a file; None, "auto" or empty means: find out and say so.

    - `kind`: samples, edges or tooth periods.
    - `delimiter`: the character between fields.
    - `unit_s`: seconds that 1 in the time column or a list of periods stands for.
    - `rate_hz`: samples a second, where no column tells the time.
    - `time`, `columns`: names or numbers (from 1) of the time column and of the signals.
    - `low`, `high`: the thresholds of a level signal; `high` is also what arms a VR signal.
    - `signal`: how samples become edges.
    - `wrap_bits`: bits of the counter that the times come from.
    - `edge`: which edge one-edge times belong to.
    - `filter_s`: shorter pulses are taken out.
    """

    kind: Kind = "auto"
    delimiter: str | None = None
    unit_s: Fraction | None = None
    rate_hz: Fraction | None = None
    time: str | None = None
    columns: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    signal: Signal = "auto"
    wrap_bits: int | None = None
    edge: Literal["rise", "fall"] = "rise"
    filter_s: Fraction = Fraction(0)


def unit_seconds(text: str) -> Fraction:
    """Seconds of a unit such as us, 0.5us, or of a counter's clock such as 4MHz.

    Raises UsageError.
    """
    match = re.fullmatch(r"\s*([0-9.]*(?:/[0-9]+)?)\s*([a-zµ]+)\s*", text.replace("μ", "µ").lower())
    if match:
        number = parse_number(match[1])
        if match[2] in _SECONDS and (number or not match[1]):
            return (number or 1) * _SECONDS[match[2]]
        if match[2] in _HERTZ and number:
            return 1 / (number * _HERTZ[match[2]])
    raise UsageError(f"'{text}' is not a unit of time. Write s, ms, us, ns, 0.5us or 4MHz.")


def unit_words(seconds: Fraction) -> str:
    """A unit as a person writes it."""
    for name, value in _SECONDS.items():
        if seconds == value:
            return name
    return f"{float(seconds * 10**6):g} us"

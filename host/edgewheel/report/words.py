"""Words that pages and pictures share."""

from __future__ import annotations

from typing import Any

_ADDRESSES = {
    "speed": "speed, rpm",
    "rpm": "speed, rpm",
    "rpm_per_s": "change of speed, rpm/s",
    "depth": "depth of the ripple",
    "delay_percent": "delay, % of a tooth period",
    "width_us": "width, \N{MICRO SIGN}s",
    "by_deg": "shift, degrees",
    "bursts_per_s": "bursts a second",
}


def several(count: int, noun: str) -> str:
    """`1 trial`, `3 trials`, `2 tries`."""
    plural = f"{noun[:-1]}ies" if noun.endswith("y") else f"{noun}s"
    return f"{count:,} {noun if count == 1 else plural}"


def axis_words(address: str, unit: str = "") -> str:
    """The address or the name of a number as the title of an axis."""
    if address in _ADDRESSES or not unit:
        return _ADDRESSES.get(address, address)
    return f"{address.replace('_', ' ')}, {unit}"


def axis_parts(address: str) -> tuple[str, str]:
    """What is varied, and its unit with a space before it, empty where it is not known."""
    name, _, unit = axis_words(address).partition(", ")
    return name, f" {unit}" if unit else ""


def sentence(text: str) -> str:
    """With a capital in front and a full stop behind."""
    text = text.strip()
    ended = text.endswith((".", "!", "?"))
    return text[:1].upper() + text[1:] + ("" if ended or not text else ".")


def listed(words: list[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return " and ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))


def plain(value: Any) -> str:
    """A value of a summary as text."""
    return "" if value is None else str(value)

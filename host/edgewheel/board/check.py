"""What a check of the doctor says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any


class Outcome(StrEnum):
    """How a check ended."""

    OK = "ok"
    NOTE = "note"
    """Nothing is wrong, but there is something to know."""
    FAILED = "failed"
    SKIPPED = "not done"


@dataclass(frozen=True)
class Check:
    """One check: what was found, what to type if that is no good, and the numbers."""

    name: str
    outcome: Outcome
    detail: str
    remedy: str = ""
    values: Mapping[str, Any] = field(default_factory=dict)


def passed(name: str, detail: str, values: Mapping[str, Any] | None = None) -> Check:
    """A check that found nothing wrong."""
    return Check(name, Outcome.OK, detail, values=values or {})


def failed(name: str, detail: str, remedy: str, values: Mapping[str, Any] | None = None) -> Check:
    """A check that found something wrong, and what to type."""
    return Check(name, Outcome.FAILED, detail, remedy, values or {})

"""What one trial of a suite showed."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf, isinf
from typing import Any

from edgewheel.bench.search_record import Trial


@dataclass(frozen=True)
class Shown:
    """Whether the controller did what was asked, in words, and what was measured of it.

    Numbers among the figures may be infinite: a thing that never came.
    """

    passed: bool
    detail: str
    reason: str = ""
    figures: Mapping[str, Any] = field(default_factory=dict)

    def figures_text(self) -> str:
        """As a record keeps them; what never came is null there."""
        return json.dumps({name: _finite(figure) for name, figure in self.figures.items()})


def shown(trial: Trial) -> Shown:
    """The same out of a record."""
    figures = json.loads(trial.figures) if trial.figures else {}
    known = {name: inf if figure is None else figure for name, figure in figures.items()}
    return Shown(trial.passed, trial.detail, trial.reason, known)


def _finite(figure: Any) -> Any:
    return None if isinstance(figure, float) and isinf(figure) else figure

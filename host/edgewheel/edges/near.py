"""Which edge another one belongs to: the nearest."""

from __future__ import annotations

import numpy as np

from edgewheel.edges.table import Ticks


def nearest(places: Ticks, ticks: Ticks) -> Ticks:
    """The index in `places` (n,), ascending, of the one nearest to each of `ticks` (m,).

    Of two that are equally near the earlier. There must be a place.
    """
    after = np.clip(np.searchsorted(places, ticks), 0, len(places) - 1)
    before = np.maximum(after - 1, 0)
    nearer_before = np.abs(ticks - places[before]) <= np.abs(places[after] - ticks)
    return np.where(nearer_before, before, after).astype(np.int64)

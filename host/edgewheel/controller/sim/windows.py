"""Decoders that tell cylinders by windows: by their share of time or the slits in them."""

from __future__ import annotations

from collections.abc import Sequence

from edgewheel.controller.sim.decoder import NO_TOOTH, Decoder
from edgewheel.controller.sim.settings import SlottedDisc, SyncSettings, UnevenWindows

CYCLE_DEG = 720.0


class Candidates:
    """The windows that the last one may have been, from its measure and those before it."""

    def __init__(self, known: Sequence[float], tolerance: float) -> None:
        self._known = known
        self._tolerance = tolerance
        self._left: frozenset[int] = frozenset()
        self.forget()

    def forget(self) -> None:
        """The next window is not the one after the last."""
        self._left = frozenset(range(len(self._known)))

    def narrow(self, measure: float) -> int | None:
        """A window closed: its index, if only one is left."""
        following = {(k + 1) % len(self._known) for k in self._left}
        self._left = frozenset(k for k in following if self.fits(k, measure))
        if not self._left:
            self.forget()
        return next(iter(self._left)) if len(self._left) == 1 else None

    def fits(self, window: int, measure: float) -> bool:
        """Whether a window of this index may measure this."""
        return abs(self._known[window] - measure) <= self._tolerance


class WindowsDecoder(Decoder):
    """Both edges of uneven windows on the cam; a tooth of the pattern is an edge.

    Even numbers open a window, odd ones close it. At each close the window's share of the time
    since the close before tells which window it was.
    """

    landmark = "known window"
    edges = "edges"

    def __init__(self, wheel: UnevenWindows, sync: SyncSettings) -> None:
        windows = wheel.windows_deg
        super().__init__([edge for window in windows for edge in window], CYCLE_DEG, sync)
        closes = [window[1] for window in windows]
        before = [closes[-1] - CYCLE_DEG, *closes[:-1]]
        self._shares = [
            (closed - opened) / (closed - last)
            for (opened, closed), last in zip(windows, before, strict=True)
        ]
        self._candidates = Candidates(self._shares, wheel.share_tolerance_percent / 100)
        self.pitch_deg = CYCLE_DEG / self.count
        self._air = 0

    def tooth(self, tick: int, level: int) -> int:
        period = tick - self.tick
        self.tick = tick
        if self.number == NO_TOOTH:
            return self._seek(period, level)
        number = (self.number + 1) % self.count
        if level == number & 1:
            return self._mistake("an edge of a window is missing", NO_TOOTH)
        if level:
            self._air = period
        elif not self._candidates.fits(number >> 1, self._share(period)):
            return self._wrong_window(number, period)
        else:
            self._errors = 0
            self._reference_seen()
        self.number = number
        self.pace = period * self.per_deg[number]
        return number

    def _share(self, window_ticks: int) -> float:
        return window_ticks / (window_ticks + self._air)

    def _seek(self, period: int, level: int) -> int:
        self._teeth += 1
        self.pace = period / self.pitch_deg
        if level:
            self._air = period
        if level or not self._air or self._teeth <= self.settings.ignored_teeth + 2:
            return self._seek_on()
        window = self._candidates.narrow(self._share(period))
        if window is None:
            return self._seek_on()
        self.pace = period * self.per_deg[2 * window + 1]
        return self._follow_from(2 * window + 1)

    def _wrong_window(self, number: int, period: int) -> int:
        due = f"{100 * self._shares[number >> 1]:.0f} %"
        found = f"{100 * self._share(period):.0f} %"
        self.pace = period * self.per_deg[number]
        return self._mistake(f"window of {found} of the time where {due} was due", number)

    def lose(self, reason: str) -> None:
        super().lose(reason)
        self._candidates.forget()

    def stall(self) -> None:
        super().stall()
        self._air = 0


class DiscDecoder(Decoder):
    """A fine track of slits, counted inside the windows of a second track.

    The reference is the first slit after the first window opens.
    """

    landmark = "known window"
    edges = "slits"

    def __init__(self, wheel: SlottedDisc, sync: SyncSettings) -> None:
        self.pitch_deg = CYCLE_DEG / wheel.slits
        super().__init__([k * self.pitch_deg for k in range(wheel.slits)], CYCLE_DEG, sync)
        self._edges = [edge for window in wheel.windows_slits for edge in window]
        counts = [closed - opened for opened, closed in wheel.windows_slits]
        self._candidates = Candidates(counts, wheel.count_tolerance)
        self._tolerance = wheel.count_tolerance
        self._per_pitch = 1 / self.pitch_deg
        self._opened_at: int | None = None
        self._next_edge = 0
        self._marks = 0

    def tooth(self, tick: int, level: int) -> int:
        self.pace = (tick - self.tick) * self._per_pitch
        self.tick = tick
        self._teeth += 1
        number = self.number
        if number < 0:
            return self._seek_on()
        number += 1
        if number == self.count:
            number = 0
            if not self._marks:
                return self._mistake("no window in a whole turn of the disc", number)
            self._marks = 0
        self.number = number
        return number

    def mark(self, tick: int, level: int) -> None:
        if self.number == NO_TOOTH:
            self._seek(level)
            return
        self._marks += 1
        due = self._edges[self._next_edge]
        off = (self.number + 1 - due + self.count // 2) % self.count - self.count // 2
        if level == self._next_edge & 1 or abs(off) > self._tolerance:
            what = "opens" if level else "closes"
            self._mistake(f"a window {what} {off:+d} slits from where an edge was due", self.number)
            return
        self._next_edge = (self._next_edge + 1) % len(self._edges)
        if not level:
            self._errors = 0
            self._reference_seen()

    def _seek(self, level: int) -> None:
        if self._teeth <= self.settings.ignored_teeth:
            return
        if level:
            self._opened_at = self._teeth
            return
        if self._opened_at is None:
            return
        window = self._candidates.narrow(self._teeth - self._opened_at)
        if window is not None:
            self._next_edge = (2 * window + 2) % len(self._edges)
            self._marks = 1
            self._follow_from((self._edges[2 * window + 1] - 1) % self.count)

    def lose(self, reason: str) -> None:
        super().lose(reason)
        self._candidates.forget()
        self._opened_at = None

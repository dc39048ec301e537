"""What lies between board and connector: it may invert, and it takes its time."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class OutputStage:
    """One entry a track: whether it inverts, its delay to a rise and a fall.

    Delays are ticks from the edge at the board's pin; the stage is what the bench file or a
    measurement says it is.
    """

    inverts: tuple[bool, ...]
    rise_ticks: tuple[int, ...]
    fall_ticks: tuple[int, ...]

    @classmethod
    def straight(cls, tracks: int) -> OutputStage:
        """Wires: nothing inverted, no delay."""
        return cls((False,) * tracks, (0,) * tracks, (0,) * tracks)

    @property
    def longest_ticks(self) -> int:
        return max((0, *self.rise_ticks, *self.fall_ticks))

    def pin_mask(self, levels: tuple[int, ...]) -> int:
        """The board's output mask that gives these levels at the connector."""
        pins = (level ^ inverts for level, inverts in zip(levels, self.inverts, strict=True))
        return sum(pin << track for track, pin in enumerate(pins))

"""How the controller's supply is switched for each run: by a spare output, or by a command.

Without supply for a while, then on: the controller starts as it does in a vehicle. The engine
stands until it has booted, or it turns already when the supply comes.
"""

from __future__ import annotations

import os
import shlex
import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from edgewheel.clock import Clock
from edgewheel.edges.supply import SupplyLine
from edgewheel.errors import BenchError, UsageError
from edgewheel.wheel.model import MOST_TRACKS
from edgewheel.yamlfile import Node, Section

ALLOWED = "EDGEWHEEL_FEED_COMMANDS"
"""Set to 'yes' where the commands of a bench file may run: such files come from others, too."""

COMMAND_TIMEOUT_S = 10
SLICE_NS = 50_000_000
LONGEST_S = 15
LINE = "supply"


@dataclass(frozen=True)
class FeedCommand:
    """Programs with their words that switch the supply on and off."""

    on: tuple[str, ...]
    off: tuple[str, ...]


@dataclass(frozen=True)
class Feed:
    """A switched supply, by the board's output of a number from 1 on, or by commands.

    Before each run it is off for `off_s`. The engine begins to turn `boot_s` after the supply
    comes, or, if `turning_s` is not None, so long before it.
    """

    output: int
    on_level: Literal["high", "low"] = "high"
    command: FeedCommand | None = None
    off_s: Fraction = Fraction(1, 2)
    boot_s: Fraction = Fraction(1, 2)
    turning_s: Fraction | None = None

    @property
    def on_s(self) -> Fraction:
        """When the supply comes, in seconds from the first movement of the crank."""
        return -self.boot_s if self.turning_s is None else self.turning_s

    @property
    def lead_s(self) -> Fraction:
        """How long before the crank moves the supply must be off already."""
        return max(self.off_s - self.on_s, Fraction(0))

    @property
    def ready_s(self) -> Fraction:
        """Before this nothing is asked of the controller, in seconds from the first movement."""
        return self.on_s + self.boot_s

    def line(self) -> SupplyLine:
        """The line that switches it, or stands for the command in simulation."""
        return SupplyLine(self.output - 1, self.on_s)


def read_feed(node: Node, tracks: int) -> Feed:
    """The `feed:` of a bench file whose wheel has so many tracks. Raises FileError."""
    section = node.section()
    output = section.optional("output")
    on_level = section.optional("on_level")
    command = section.optional("command")
    off = section.optional("off")
    boot = section.optional("boot")
    turning = section.optional("turning")
    section.finish()
    if (output is None) == (command is None):
        remedy = "Write one of 'output: 4' and 'command: {on: ..., off: ...}'."
        raise node.refuse("it is not clear what switches the supply", remedy)
    if output is not None and output.integer(1, MOST_TRACKS) <= tracks:
        remedy = f"Write {tracks + 1} or more." if tracks < MOST_TRACKS else "Write a command."
        raise output.refuse(f"output {output.content} carries a track of the wheel", remedy)
    usual = Feed(0)
    return Feed(
        output.integer(1, MOST_TRACKS) if output else min(tracks + 1, MOST_TRACKS),
        on_level.choice(("high", "low")) if on_level else usual.on_level,
        _read_command(command.section()) if command else None,
        off.number(above=0, maximum=LONGEST_S) if off else usual.off_s,
        boot.number(0, maximum=LONGEST_S) if boot else usual.boot_s,
        turning.number(above=0, maximum=3600) if turning else None,
    )


def _read_command(section: Section) -> FeedCommand:
    on, off = (_words(section.required(key)) for key in ("on", "off"))
    section.finish()
    return FeedCommand(on, off)


def _words(node: Node) -> tuple[str, ...]:
    try:
        words = tuple(shlex.split(node.text()))
    except ValueError as error:
        raise node.refuse(f"this is no command: {error}", "Close the quotation.") from error
    if not words:
        raise node.refuse("this is no command", "Write a program and its words.")
    return words


class CommandSwitch:
    """Switches the supply by commands, to some milliseconds."""

    def __init__(self, feed: Feed, command: FeedCommand, clock: Clock) -> None:
        self._feed = feed
        self._command = command
        self._clock = clock
        self._on = False

    def before(self, stopped: Callable[[], bool]) -> None:
        """Off, and on again if the crank is to stand then; returns when it may begin to turn.

        Raises BenchError if a command fails, UsageError if none may run.
        """
        run_command(self._command.off)
        self._on = False
        self._wait(self._feed.off_s, stopped)
        if self._feed.turning_s is None:
            self._switch_on()
            self._wait(self._feed.boot_s, stopped)

    def during(self, seconds: float) -> None:
        """On, once it is time for that, `seconds` after the crank began to turn."""
        if not self._on and seconds >= self._feed.on_s:
            self._switch_on()

    def _switch_on(self) -> None:
        run_command(self._command.on)
        self._on = True

    def _wait(self, seconds: Fraction, stopped: Callable[[], bool]) -> None:
        end_ns = self._clock.now_ns() + round(seconds * 10**9)
        while (now_ns := self._clock.now_ns()) < end_ns and not stopped():
            self._clock.sleep_until(min(now_ns + SLICE_NS, end_ns))


def run_command(words: tuple[str, ...]) -> None:
    """Run a command to its end. Raises BenchError if it fails, UsageError if it may not run."""
    text = shlex.join(words)
    if os.environ.get(ALLOWED) != "yes":
        raise UsageError(
            f"The bench file's feed runs a command: {text}. If you trust the file, allow it with "
            f"the environment variable {ALLOWED}=yes."
        )
    try:
        done = subprocess.run(words, capture_output=True, text=True, timeout=COMMAND_TIMEOUT_S)
    except (OSError, subprocess.TimeoutExpired) as error:
        raise BenchError(f"The feed's command failed: {text}: {error}.") from error
    if done.returncode:
        said = (done.stderr or done.stdout).strip().splitlines()
        why = said[-1] if said else f"exit code {done.returncode}"
        raise BenchError(f"The feed's command failed: {text}: {why}.")

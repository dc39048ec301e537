"""What is chosen on pytest's command line or in its settings file."""

from __future__ import annotations

import platform
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from edgewheel import __version__

SIMULATED = "sim"
OPTIONS = (
    ("bench", "FILE", "the bench file; a test's marker may name another"),
    ("board", "BOARD", "'sim' (default), 'auto' for the only board on USB, or a port"),
    ("controller", "FILE", "a file with the 'controller:' to take instead of the bench file's"),
    ("runs", "FOLDER", "where run folders go; default: pytest's temporary folder"),
    ("seed", "NUMBER", "the seed, instead of the bench file's"),
    ("against", "FOLDER", "a suite on record: what got worse since, fails"),
)


@dataclass(frozen=True)
class Choices:
    """The choices; None where the bench file's own holds. Paths are absolute."""

    bench: Path | None
    board: str
    controller: Path | None
    runs: Path | None
    seed: str
    against: Path | None = None

    @property
    def real_board(self) -> bool:
        """Whether a board is asked for that is not simulated."""
        return self.board not in ("", SIMULATED)

    @classmethod
    def of(cls, config: pytest.Config) -> Choices:
        """From a session's configuration."""
        return cls(
            _path(config, "bench"),
            _text(config, "board"),
            _path(config, "controller"),
            _path(config, "runs"),
            _text(config, "seed"),
            _path(config, "against"),
        )

    def with_runs(self, runs: Path) -> Choices:
        """With another folder for runs."""
        return replace(self, runs=runs)


def add_options(parser: pytest.Parser) -> None:
    """`--edgewheel-NAME`, and `edgewheel_NAME` in the settings file."""
    group = parser.getgroup("edgewheel", "crank and cam inputs on a bench (edgewheel)")
    for name, metavar, words in OPTIONS:
        group.addoption(f"--edgewheel-{name}", metavar=metavar, help=words)
        parser.addini(f"edgewheel_{name}", f"as --edgewheel-{name}: {words}", default="")


def add_properties(choices: Choices, note: Callable[[str, object], None]) -> None:
    """What the whole session has in common, for the JUnit file."""
    note("edgewheel.version", __version__)
    note("edgewheel.python", platform.python_version())
    note("edgewheel.board", choices.board or SIMULATED)
    note("edgewheel.runs", str(choices.runs))


def _text(config: pytest.Config, name: str) -> str:
    given = config.getoption(f"--edgewheel-{name}")
    return str(given or config.getini(f"edgewheel_{name}"))


def _path(config: pytest.Config, name: str) -> Path | None:
    """A path from where pytest was called, or one in the settings file from that file's folder."""
    given = config.getoption(f"--edgewheel-{name}")
    if given:
        return Path(config.invocation_params.dir / str(given))
    setting = str(config.getini(f"edgewheel_{name}"))
    if not setting:
        return None
    folder = config.inipath.parent if config.inipath else config.rootpath
    return folder / setting

"""What a person has set for the console: keys and theme, in a YAML file of their own."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from platformdirs import user_config_path

FILE = "console.yaml"


@dataclass(frozen=True)
class Settings:
    """`keys` gives other keys to actions by their ids, several with a comma between them."""

    keys: Mapping[str, str] = field(default_factory=dict)
    theme: str = ""


def settings_file() -> Path:
    """Where the settings are looked for."""
    return user_config_path("edgewheel") / FILE


def read_settings(file: Path, known: Callable[[], tuple[str, ...]]) -> Settings:
    """The settings in a file, or the usual ones where there is none. Raises FileError.

    `known` tells the ids of all actions.
    """
    if not file.is_file():
        return Settings()
    from edgewheel.yamlfile import load

    section = load(file).section()
    theme = section.optional("theme")
    keys = section.optional("keys")
    section.finish()
    found = {}
    if keys is not None:
        inside = keys.section()
        found = {name: node.text() for name in known() if (node := inside.optional(name))}
        inside.finish()
    return Settings(found, theme.text() if theme else "")

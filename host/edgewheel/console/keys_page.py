"""All keys as a page in Markdown, from the bindings themselves."""

from __future__ import annotations

from collections.abc import Mapping

from textual.app import App

from edgewheel.console import keys
from edgewheel.console.app import ConsoleApp
from edgewheel.console.live.page import LivePage
from edgewheel.console.page import Page
from edgewheel.console.runs.page import RunsPage
from edgewheel.console.search.page import SearchPage
from edgewheel.console.settings import FILE

HEAD = f"""\
# The console

`edgewheel console` opens a bench that is ready to turn on the simulated board and controller: F5
turns it, F8 parks it. `edgewheel console BENCH` opens a bench file. It needs a terminal of 80 by 24
characters or more; at 100 columns several panes stand beside each other, at 160 all of them. The
mouse works too: a click arms a fault, goes to a page, presses a key at the bottom.

The three lines at the top are always there. They say what the bench does, which speed is set, which
is on the pins, which the controller reports; whether it has sync, how often it lost it in this run,
when and why it last did; and which faults are on the pins. Every state is a word and a sign, so
colours may be switched off (`NO_COLOR=1`). Everything that the console does, the command line does
too, line by line: that is the way for a screen reader.

Whoever ends the console parks the outputs: ctrl+q, SIGTERM, SIGHUP, SIGINT, a closed terminal, even
one that takes no more characters. After a SIGKILL the board itself misses its host and parks. Exit
codes: 0, 128 and the number of the signal, 2 for a file that cannot be used, 3 if board or disk
failed as the bench was let go of, 5 for a mistake in edgewheel. After a mistake of ours one
sentence says what it was and which file has its details, in edgewheel's folder of your logs (on
Linux `~/.local/state/edgewheel/log`).

This page is what `edgewheel console --keys` prints. Other keys stand in a file of your own,
`{FILE}` in edgewheel's folder of your settings (on Linux `~/.config/edgewheel`), or where
`--settings` says:

    theme: orchard-day            # or orchard-night, or another one of the list under ctrl+p
    keys: {{fault-once: z, park: "f9,f8"}}
"""


def keys_page(keymap: Mapping[str, str]) -> str:
    """The page, with the keys of a person where they have their own."""
    parts = [HEAD]
    for title, actions in all_actions(keymap).items():
        rows = [f"| {one.key} | {one.name} | `{one.id}` |" for one in actions]
        parts.append(
            "\n".join([f"## {title}", "", "| key | what it does | id |", "|---|---|---|", *rows])
            + "\n"
        )
    return "\n".join(parts)


def all_actions(keymap: Mapping[str, str]) -> dict[str, list[keys.Action]]:
    """The actions of the application and of each page, by a title."""
    places: dict[str, type[App[None] | Page]] = {
        "Everywhere": ConsoleApp,
        "The bench": LivePage,
        "Searches": SearchPage,
        "Runs": RunsPage,
    }
    return {
        title: keys.actions_of(keys.bindings_of(kind), keymap) for title, kind in places.items()
    }


def all_ids() -> tuple[str, ...]:
    """The ids by which a person gives other keys to actions."""
    return tuple(action.id for found in all_actions({}).values() for action in found)

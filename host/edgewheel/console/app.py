"""The application: pages, the keys that work everywhere, ten looks a second at the bench."""

from __future__ import annotations

import gc
import os
from collections.abc import Callable, Iterable
from dataclasses import replace
from io import StringIO
from typing import TYPE_CHECKING, ClassVar

from rich.console import Console
from textual import events, work
from textual.app import App, SystemCommand
from textual.binding import Binding, BindingType
from textual.screen import Screen
from textual.timer import Timer
from textual.widgets import Input

from edgewheel.clock import WallClock
from edgewheel.console import keys
from edgewheel.console.dialogs.dialog import Dialog
from edgewheel.console.live.page import LivePage
from edgewheel.console.mistake import Mistake
from edgewheel.console.page import Page
from edgewheel.console.settings import Settings
from edgewheel.console.signals import Signals
from edgewheel.console.themes import DAY, NIGHT
from edgewheel.console.watch import TICKS_PER_S
from edgewheel.errors import EdgewheelError

if TYPE_CHECKING:
    from edgewheel.console.desk import Desk
    from edgewheel.console.host import Host
    from edgewheel.console.search.job import Job, Running

BY_SIGNAL = 128
"""A shell's exit code for an end by a signal, before the signal's number."""

PATIENCE_NS = 5_000_000_000
"""The console is ended so long after a signal, if it cannot leave by itself."""

REFUSED = 2
"""There is no desk, as `ConsoleApp.refusal` says."""

MISTAKEN = 1
"""What Textual, too, returns where it cannot go on; `ConsoleApp.mistake` says why."""


def _search_page() -> Screen[None]:
    """Made when somebody goes there: what it plays takes time to import."""
    from edgewheel.console.search.page import SearchPage

    return SearchPage()


def _runs_page() -> Screen[None]:
    """Made when somebody goes there."""
    from edgewheel.console.runs.page import RunsPage

    return RunsPage()


class ConsoleApp(App[None]):
    """The console on one desk, which is made behind the first page: keys wait for it.

    `paced` is off in tests, which look by hand and keep their signals.
    """

    TITLE = "edgewheel"
    CSS_PATH = "console.tcss"
    MODES: ClassVar[dict[str, str | Callable[[], Screen[None]]]] = {
        "bench": LivePage,
        "search": _search_page,
        "runs": _runs_page,
    }
    DEFAULT_MODE = "bench"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f8", "park", "PARK", priority=True, tooltip="Park the outputs at once", id="park"),
        Binding("f5", "turn", "Turn", tooltip="Let the engine turn at the set speed", id="turn"),
        Binding("f1", "help", "Help", tooltip="Help for this pane, and its keys", id="help"),
        Binding("space", "park", "Park", show=False, id="park-by-space"),
        Binding("f2", "page('bench')", "Bench", show=False, id="page-bench"),
        Binding("f3", "page('search')", "Searches", show=False, id="page-search"),
        Binding("f4", "page('runs')", "Runs", show=False, id="page-runs"),
    ]

    def __init__(
        self, make_desk: Callable[[], Desk], settings: Settings | None = None, paced: bool = True
    ) -> None:
        super().__init__()
        self._make_desk = make_desk
        self._desk: Desk | None = None
        self._early: list[events.Key] = []
        self.refusal: EdgewheelError | None = None
        """Why there is no desk, if it ended for that."""
        self._settings = settings or Settings()
        self._paced = paced
        self._looks: Timer | None = None
        self._signals = Signals(self._end_by_signal)
        # Textual's account of a mistake is long, and not for the terminal.
        self.error_console = Console(file=StringIO())
        self.running: Running | None = None
        """The search that is going on, or the last one."""
        if "TEXTUAL_ANIMATIONS" not in os.environ:
            self.animation_level = "none"
        self._set_theme()

    def on_mount(self) -> None:
        self.set_keymap(dict(self._settings.keys))
        self.app_resume_signal.subscribe(self, self._draw_all)
        if self._paced:
            self._signals.catch()
            self._looks = self.set_interval(1 / TICKS_PER_S, self.look)
        self.call_after_refresh(self._open)

    def on_unmount(self) -> None:
        # A mistake of ours ends it without `leave`; the end of a search's thread is waited for.
        self.park()
        if self._paced:
            self._signals.release()

    @work(thread=True, group="desk")
    def _open(self) -> None:
        """Make the desk; all that reads and plays a bench file is imported for it."""
        try:
            desk = self._make_desk()
        except EdgewheelError as error:
            self.refusal = error
            self.call_later(self.leave, REFUSED)
            return
        self.call_later(self._begin, desk)
        if self._paced:
            from edgewheel.console.opening import prepare

            prepare()
        # What is there now stays: looking through all of it for garbage would hold the screen up.
        gc.freeze()
        gc.enable()

    async def _begin(self, desk: Desk) -> None:
        """There is a desk: show it, and do what was asked for meanwhile."""
        self._desk = desk
        self.look()
        early, self._early = self._early, []
        for event in early:
            await self.on_event(event)

    async def on_event(self, event: events.Event) -> None:
        """Keys go to where the keys before them lead, however fast they come.

        What a page hands on from its own queue comes too late for that: a digit's dialogue would
        open after the next digit has gone to the page, too.
        """
        if self._desk is None and isinstance(event, events.InputEvent | events.Paste):
            if isinstance(event, events.Key):
                self._early.append(event)
            return
        if isinstance(event, events.Key) and self._is_taken(event):
            return
        await super().on_event(event)

    def _is_taken(self, event: events.Key) -> bool:
        screen = self.screen_stack[-1] if self.screen_stack else None
        if isinstance(screen, Dialog):
            return screen.takes_early(event)
        typing = isinstance(self.focused, Input) if screen is not None else True
        return not typing and isinstance(screen, LivePage) and screen.begins(event)

    def _draw_all(self, _: App[None]) -> None:
        """After it was stopped and goes on: the terminal has forgotten what was drawn."""
        self.refresh(layout=True)

    def look(self) -> None:
        """One look at the bench, drawn on the page that is seen.

        A mistake of ours in its thread is the end: going on would show a bench that is not there.
        """
        if self._desk is None:
            return
        if self.desk.mistake is not None:
            self.leave(MISTAKEN)
            return
        view = replace(
            self.desk.look(),
            search=self._search_in_words(),
            search_plays_desk=self.running is None or self.running.job.plays_desk,
        )
        for sentence in view.trouble:
            self.notify(sentence, severity="error", timeout=10, markup=False)
        page = self.page
        if page is not None:
            with self.batch_update():
                page.show(view)

    @property
    def desk(self) -> Desk:
        """What lies on the desk; no key is heard before there is one."""
        assert self._desk is not None
        return self._desk

    @property
    def mistake(self) -> Mistake | None:
        """The mistake of ours that ended it; None if it was ended by somebody."""
        if self._desk is not None and self._desk.mistake is not None:
            return Mistake.of(self._desk.mistake)
        if self.return_code == MISTAKEN:
            assert isinstance(self.error_console.file, StringIO)
            return Mistake.drawn(self.error_console.file.getvalue())
        return None

    @property
    def page(self) -> Page | None:
        """The page that is seen, also under a dialogue; None while it is being made."""
        pages = [screen for screen in self.screen_stack if isinstance(screen, Page)]
        return pages[-1] if pages and pages[-1].is_mounted else None

    def take_trouble(self) -> EdgewheelError | None:
        """What failed as the bench was let go of, for whoever called `close`; nobody looks then."""
        found = self._desk.take_trouble() if self._desk is not None else []
        return found[0] if found else None

    def do(self, order: Callable[[], None]) -> bool:
        """Give an order to the desk; what cannot be is said to the person. Whether it could."""
        try:
            order()
        except EdgewheelError as error:
            self.notify(str(error), severity="error", timeout=10, markup=False)
            return False
        self.look()
        return True

    def begin(self, job: Job, done_share: float = 0.0) -> None:
        """Park, and let a search have the bench; `done_share` of it was played before."""
        from edgewheel.console.search.job import Running

        self.desk.lend()
        self.running = Running(job, self.desk.wait_until_free, done_share)
        self.run_worker(
            self.running.play, name=job.name, group="search", exclusive=True, thread=True
        )
        self.look()

    def _search_in_words(self) -> str:
        if self.running is None or self.running.over:
            return ""
        return f"{self.running.job.name} {self.running.stage.share:.0%}"

    @property
    def is_searching(self) -> bool:
        """Whether a search has the bench."""
        return self.running is not None and not self.running.over

    def leave(self, code: int) -> None:
        """Park and end."""
        self.park()
        if self._looks is not None:
            self._looks.stop()
        # A signal that comes after a mistake does not hide it.
        if self.return_code != MISTAKEN:
            self.exit(return_code=code)

    def park(self) -> None:
        """Bring the outputs to their idle levels, whoever plays on them."""
        if self._desk is not None:
            self._desk.park()
        if self.running is not None and not self.running.over:
            self.running.stop()

    def close(self) -> None:
        """Let go of the bench, after the end; waits for that."""
        if self._desk is not None:
            self._desk.close()

    # Keys that work everywhere

    def action_park(self) -> None:
        """Bring the outputs to their idle levels at once, whatever is on the screen."""
        self.park()
        self.look()

    def action_turn(self) -> None:
        """Let the engine turn."""
        if self.is_searching:
            self.notify("A search has the bench. F8 stops it.", severity="warning")
        else:
            self.do(self.desk.turn)

    async def action_quit(self) -> None:
        """Park and end."""
        self.leave(0)

    async def action_page(self, mode: str) -> None:
        """Go to another page."""
        if not self.screen.is_modal:
            await self.switch_mode(mode)
            self.call_after_refresh(self.look)

    def action_help(self) -> None:
        """Help for the pane one is in."""
        from edgewheel.console.dialogs.help import HelpDialog

        page = self.page
        if page is not None and not self.screen.is_modal:
            self.push_screen(HelpDialog(*keys.help_for(page, self, self._settings.keys)))

    # What is around it

    def get_key_display(self, binding: Binding) -> str:
        """A key as it is written everywhere else."""
        return keys.shown(binding.key)

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """Every action of the page that is seen, with its key, then themes and the end."""
        page = self.page
        if page is not None:
            for action in keys.actions(page, self, self._settings.keys):
                yield SystemCommand(
                    action.name, f"key {action.key}", self._runner(action.action, page)
                )
        yield SystemCommand("Theme", "other colours", self.action_change_theme)
        yield SystemCommand("Quit", "park, then leave (key ctrl+q)", lambda: self.leave(0))

    def _runner(self, action: str, page: Page) -> Callable[[], None]:
        def run() -> None:
            self.call_later(self.run_action, action, page)

        return run

    def _set_theme(self) -> None:
        """Before anything is drawn: another theme later would mean to draw all of it again."""
        self.register_theme(NIGHT)
        self.register_theme(DAY)
        wanted = os.environ.get("TEXTUAL_THEME") or self._settings.theme or NIGHT.name
        known = wanted in self.available_themes
        self.set_reactive(ConsoleApp.theme, wanted if known else NIGHT.name)
        if not known:
            words = f"There is no theme '{wanted}'."
            self.call_later(self.notify, words, severity="warning", markup=False)

    def _end_by_signal(self, number: int) -> None:
        """Park at once, then leave; in a thread of its own, for the one that draws may be stuck.

        Another signal meanwhile changes nothing: a terminal that hangs up may send several, and
        each would cut short the parking and the end of a search's record.
        """
        clock = WallClock()
        until_ns = clock.now_ns() + PATIENCE_NS
        self.park()
        code = BY_SIGNAL + number
        self.call_later(self.leave, code)
        clock.sleep_until(until_ns)
        self.close()
        os._exit(code)


if TYPE_CHECKING:
    _: type[Host] = ConsoleApp  # its pages take it for one

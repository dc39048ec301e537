"""A bench that parks slowly holds nobody up: not the screen, and its successor only as it must."""

import asyncio
import threading
from contextlib import asynccontextmanager
from fractions import Fraction
from pathlib import Path

import pytest

from console_kit import press, settle, text
from edgewheel.bench.live.state import LivePhase
from edgewheel.bench.record_folder import DATABASE
from edgewheel.console.app import ConsoleApp
from edgewheel.console.desk import FIRST, Desk
from edgewheel.console.mistake import Mistake
from edgewheel.console.search.job import STOPPED, Job, Stage
from edgewheel.console.search.jobs import SweepJob
from edgewheel.console.signals import Signals
from edgewheel.errors import BenchError
from edgewheel.search.recorded import read_rows
from mock_bench import MockBench, mock_desk


class SlowBench(MockBench):
    """Its board answers PARK only when `answers` is set."""

    answers: threading.Event

    def close(self):
        assert self.answers.wait(10)
        super().close()


@asynccontextmanager
async def slow_console():
    """Yields (app, pilot, the event by which every board answers), the engine turning."""

    class Bench(SlowBench):
        answers = threading.Event()

    desk = Desk(FIRST, Path("runs"), Bench)
    app = ConsoleApp(lambda: desk, paced=False)
    try:
        async with app.run_test(size=(80, 24)) as pilot:
            await press(app, pilot, "f5")
            yield app, pilot, Bench.answers
    finally:
        Bench.answers.set()
        desk.close()


async def free(app, pilot, answers):
    """The board has answered."""
    answers.set()
    await asyncio.to_thread(app.desk.wait_until_free)
    await settle(app, pilot)


def use_wheel(desk):
    desk.use_wheel("36-minus-1")


def use_board(desk):
    desk.use_board("auto")


def open_file(desk):
    desk.open(FIRST)


class FullDisk(MockBench):
    def close(self):
        super().close()
        self.trouble = BenchError("The disk is full.")


def test_a_record_that_the_disk_refuses_is_told_on_the_screen_or_at_the_end():
    async def scenario():
        desk = Desk(FIRST, Path("runs"), FullDisk)
        app = ConsoleApp(lambda: desk, paced=False)
        async with app.run_test(size=(80, 24)) as pilot:
            await press(app, pilot, "f5")
            use_wheel(desk)
            await asyncio.to_thread(desk.wait_until_free)
            await settle(app, pilot)
            assert "Lost: The disk is full." in [note.message for note in app._notifications]
        app.close()
        assert str(app.take_trouble()) == "The disk is full."
        assert app.take_trouble() is None

    asyncio.run(scenario())


@pytest.mark.parametrize("change", [use_wheel, use_board, open_file])
def test_the_screen_goes_on_and_the_engine_turns_when_the_board_is_free(change):
    async def scenario():
        async with slow_console() as (app, pilot, answers):
            before = app.desk.player
            change(app.desk)
            after = app.desk.player
            await settle(app, pilot)
            assert "Waiting for the board to park · F8 parks" in text(app)
            await press(app, pilot, "f5")
            assert "Waiting for the board to park, then the engine turns" in text(app)
            assert after.orders == [] and before.state.phase is LivePhase.TURNING
            await free(app, pilot, answers)
            assert "Waiting" not in text(app)
            assert before.orders[-1] == ("close",)
            return list(after.orders)

    assert asyncio.run(scenario()) == [("start", Fraction(850))]


def test_f8_takes_back_a_start_that_waits():
    async def scenario():
        async with slow_console() as (app, pilot, answers):
            use_wheel(app.desk)
            await press(app, pilot, "f5", "f8")
            await free(app, pilot, answers)
            return list(app.desk.player.orders)

    assert asyncio.run(scenario()) == [("park",)]


class Noted(Job):
    """A search that notes when it began."""

    name, folder = "Noted", Path("noted")

    def __init__(self):
        self.begun = threading.Event()

    def stages(self):
        self.begun.set()
        yield Stage(1.0, answer="played")

    def stop(self):
        """It ends by itself."""


def test_a_search_waits_for_the_board_and_says_so():
    async def scenario():
        async with slow_console() as (app, pilot, answers):
            await pilot.press("f3")
            await pilot.pause()
            job = Noted()
            app.begin(job)
            await pilot.pause(0.2)
            app.look()
            await pilot.pause()
            assert "waiting for the board to park" in text(app) and not job.begun.is_set()
            await free(app, pilot, answers)
            assert job.begun.is_set()
            return text(app)

    assert "played" in asyncio.run(scenario())


def test_a_search_that_is_stopped_while_it_waits_never_turns_the_engine(tmp_path):
    async def scenario():
        async with slow_console() as (app, pilot, answers):
            plan = app.desk.to_search(stairs=("1000", "2000", "1000"))
            job = SweepJob(plan, tmp_path)
            app.begin(job)
            await pilot.press("f8")
            await free(app, pilot, answers)
            return app.running.stage.answer, job.folder

    answer, folder = asyncio.run(scenario())
    assert answer == STOPPED
    played = read_rows(folder / DATABASE, "SELECT state, reason, played FROM board")
    assert [tuple(row) for row in played][-1] == ("idle", "stop", 0)


class Stoppable(Noted):
    """A search that goes on until it is stopped, or for a second."""

    def __init__(self):
        super().__init__()
        self.stopped = threading.Event()

    def stages(self):
        yield Stage(0.5)
        self.begun.set()
        self.stopped.wait(1)

    def stop(self):
        self.stopped.set()


def test_a_mistake_on_the_screen_parks_a_search():
    job = Stoppable()

    async def scenario():
        app = ConsoleApp(mock_desk, paced=False)
        async with app.run_test() as pilot:
            await settle(app, pilot)
            app.begin(job)
            await asyncio.to_thread(job.begun.wait, 5)
            app.call_later(lambda: 1 / 0)
            await pilot.pause(0.5)

    with pytest.raises(ZeroDivisionError):
        asyncio.run(scenario())
    assert job.stopped.is_set()


def test_a_mistake_is_told_without_what_textual_says_of_others():
    drawn = "╰───╯\nZeroDivisionError: planted\n\nNOTE: 1 of 2 errors shown. Run with ...\n"
    assert Mistake.drawn(drawn).what == "ZeroDivisionError: planted"


def test_signals_that_were_never_taken_are_not_given_back():
    Signals(print).release()


def test_a_mistake_in_a_bench_that_was_left_is_heard_of():
    desk = mock_desk()
    left = desk.player
    left.crash = ZeroDivisionError("planted")
    desk.open(FIRST)
    desk.wait_until_free()
    assert desk.mistake is left.crash


def test_a_bench_file_that_cannot_be_played_live_leaves_the_bench_that_is_there():
    async def scenario():
        async with slow_console() as (app, pilot, _):
            before = app.desk.player

            def refuse(plan, runs):
                raise ValueError

            app.desk._make = refuse
            with pytest.raises(ValueError):
                app.desk.open(FIRST)
            await press(app, pilot, "f8")
            return app.desk.player is before, before.orders[-1]

    assert asyncio.run(scenario()) == (True, ("park",))

"""The first page stands before the bench file is read; what is typed meanwhile is not lost."""

import asyncio
import subprocess
import sys
import threading
from fractions import Fraction

from console_kit import press, settle, text
from edgewheel.console.app import ConsoleApp
from mock_bench import mock_desk


def test_what_the_first_page_needs_is_light():
    """With keys of a person's own it needs to know those of all pages."""
    words = "import sys, edgewheel.console.keys_page; print(*sys.modules)"
    modules = subprocess.check_output([sys.executable, "-c", words], text=True).split()
    assert not {"numpy", "yaml", "edgewheel.bench.plan", "edgewheel.console.desk"} & {*modules}


def test_keys_wait_for_the_desk_in_their_order():
    read = threading.Event()

    def make_desk():
        assert read.wait(10)
        return mock_desk()

    async def scenario():
        app = ConsoleApp(make_desk, paced=False)
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press("u", "f5", "f3")
            await pilot.pause()
            first = text(app)
            read.set()
            await settle(app, pilot)
            await press(app, pilot)
            return first, list(app.desk.player.orders), app.page.MODE

    first, orders, page = asyncio.run(scenario())
    assert "READING THE BENCH FILE" in first and "Faults (f)" in first and "PARK" in first
    assert orders == [("start", Fraction(1100))] and page == "search"

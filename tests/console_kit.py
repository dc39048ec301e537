"""The console without a terminal, a thread or a clock: fed by hand, looked at as text or as SVG."""

import re
from contextlib import asynccontextmanager

from edgewheel.console.app import ConsoleApp
from mock_bench import mock_desk


@asynccontextmanager
async def console(size=(80, 24), **desk):
    """Yields (app, pilot); `app.look()` draws what the mock bench says."""
    app = ConsoleApp(lambda: mock_desk(**desk), paced=False)
    async with app.run_test(size=size) as pilot:
        await settle(app, pilot)
        yield app, pilot


async def settle(app, pilot):
    """All that is under way is done, and drawn."""
    await app.workers.wait_for_complete()
    await pilot.pause()
    app.look()
    await pilot.pause()


async def press(app, pilot, *keys):
    """Press keys one after the other, then settle."""
    for key in keys:
        await pilot.press(key)
    await settle(app, pilot)


def lines(app):
    """What is on the screen, a text a line."""
    strips = app.screen._compositor.render_strips()
    return ["".join(segment.text for segment in strip) for strip in strips]


def text(app):
    return "\n".join(lines(app))


def svg(app):
    """The screen as SVG, without numbers that differ from run to run or fonts from elsewhere."""
    picture = re.sub(r"terminal-\d+-", "terminal-", app.export_screenshot(simplify=True))
    return re.sub(r"@font-face \{.*?\}\s*", "", picture, flags=re.DOTALL)

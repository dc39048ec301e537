"""A picture of the console, made by letting it work: on the simulated bench, by its keys."""

from __future__ import annotations

import asyncio
import re
import tempfile
from pathlib import Path

from edgewheel.bench.live.state import LivePhase
from edgewheel.console.app import ConsoleApp
from edgewheel.console.opening import live_desk

SIZE = 120, 40
KEYS: tuple[tuple[str, float], ...] = (
    ("f5", 2.0),
    ("m", 0.2),
    *((digit, 0.0) for digit in "3000"),
    ("enter", 8.0),
    ("h", 1.0),
    ("h", 4.0),
)
"""Keys, and the seconds to wait after each: a ramp, then the sensor bounces for a moment."""


def take(file: Path) -> None:
    """Write the picture as SVG."""
    with tempfile.TemporaryDirectory() as runs:
        file.write_text(asyncio.run(_taken(Path(runs))), encoding="utf-8")


async def _taken(runs: Path) -> str:
    app = ConsoleApp(lambda: live_desk(None, runs))
    async with app.run_test(size=SIZE) as pilot:
        await app.workers.wait_for_complete()
        for key, seconds in KEYS:
            await pilot.press(key)
            await asyncio.sleep(seconds)
        assert app.desk.player.state.phase is LivePhase.TURNING
        picture = app.export_screenshot(title="edgewheel console", simplify=True)
        app.leave(0)
    app.close()
    # The font is fetched from elsewhere otherwise; a page in the project opens offline.
    return re.sub(r"@font-face \{.*?\}\s*", "", picture, flags=re.DOTALL)

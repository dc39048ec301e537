"""`edgewheel boards` and `doctor` on the real image in the emulator, over socket://."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from edgewheel.cli.main import main
from firmware.kit.emulator import HZ, MS
from firmware.kit.served import Listener, Pulse, Served
from firmware.kit.tables import FIRMWARE

pytestmark = [pytest.mark.slow, pytest.mark.realtime]
HALF_A_MICROSECOND_US = 0.5
MANIFEST = json.loads((FIRMWARE / "images" / "edgewheel-rp2040.json").read_text("utf-8"))


@pytest.fixture
def served(image: Path) -> Iterator[Callable[..., Served]]:
    boards: list[Served] = []

    def make(listener: Listener | None = None) -> Served:
        boards.append(Served(image, listener, "--quantum-us", "500"))
        return boards[-1]

    yield make
    for board in boards:
        board.close()


def wire(output: int, line: int, rise: int, fall: int) -> Listener:
    """A wire with its delays in ticks, each longer than a quantum."""
    level = 0

    def listen(transitions: list[tuple[int, int]], tick: int) -> list[Pulse]:
        nonlocal level
        pulses = []
        for moved, mask in transitions:
            now = mask >> output & 1
            if now != level:
                level = now
                pulses.append((moved + (rise if now else fall), line, now))
        return pulses

    return listen


def test_boards_names_the_image(
    served: Callable[..., Served], capsys: pytest.CaptureFixture[str]
) -> None:
    url = served().url
    assert main(["boards", "--port", url, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["boards"]
    (board,) = [one for one in found if one["port"] == url]
    assert (board["board"], board["state"]) == ("RP2040 board", "idle")
    assert (board["firmware"], board["protocol"]) == (MANIFEST["firmware"], MANIFEST["protocol"])
    assert board["unique_id"] == "e66138528350ab21"


def test_the_doctor_measures_a_wire(
    served: Callable[..., Served], capsys: pytest.CaptureFixture[str]
) -> None:
    """Delays of 1 ms and 300 ticks on a rise, 1 ms and 800 ticks on a fall, measured."""
    rise, fall = MS + 300, MS + 800
    board = served(wire(output=2, line=5, rise=rise, fall=fall))
    code = main(["doctor", "--port", board.url, "--json"])
    data = json.loads(capsys.readouterr().out)
    assert code == 0, data
    checks = {check["name"]: check for check in data["checks"]}
    assert {check["outcome"] for check in checks.values()} == {"ok"}
    (loop,) = checks["loopback"]["values"]["loops"]
    assert (loop["output"], loop["input"], loop["inverts"]) == (3, 6, False)
    for edge, ticks in (("rise", rise), ("fall", fall)):
        print(edge, loop[edge], f"true {ticks / HZ * 1e6:.3f} us")
        assert loop[edge]["mean_us"] == pytest.approx(ticks / HZ * 1e6, abs=HALF_A_MICROSECOND_US)
        assert loop[edge]["spread_us"] < HALF_A_MICROSECOND_US
    print(checks["link"]["detail"])

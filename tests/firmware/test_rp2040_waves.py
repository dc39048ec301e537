"""The voltages of VR outputs on the real image's pins: every code at its cycle, the zero crossing
on the transition, the amplitude by the curve."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from edgewheel.link.waves import HalfWave, Number, Numbers, WaveForm, WaveTrack
from firmware.kit.emulator import HZ, MS, Emulator
from firmware.kit.player import Player, errors
from firmware.kit.stream import RandomEncoder
from plain_waves import MIDDLE, code_of, lifted

CODE_CYCLES = 1024
SINE = bytes(round(255 * np.sin(np.pi * k / 16)) for k in range(17))
AT_6000_RPM = HZ * 3 // 36_000  # half a pitch of 60-2
FORM = WaveForm(32_000, 1, (HalfWave(AT_6000_RPM, SINE), HalfWave(3 * AT_6000_RPM, SINE)))
CORNER_TICKS = HZ // 40  # of 6.4 Hz
WHOLE = replace(FORM, corner_ticks=CORNER_TICKS, numbers=Numbers(1, (Number(), Number(2_500))))


def wheel(turns: int, half_pitch: int, to: int) -> list[tuple[int, int]]:
    """Transitions of outputs 0, a wheel of 60-2 that changes its speed, and 1, some other line."""
    found, mask = [(2 * MS, 2)], 2
    halves = [3 if k in (116, 117) else 1 for _ in range(turns) for k in range(118)]
    for k, pitches in enumerate(halves):
        mask ^= 1
        length = half_pitch + (to - half_pitch) * k // len(halves)
        found.append((pitches * length * 2 // 3, mask))
        mask ^= 2
        found.append((pitches * length // 3, mask))
    return found


def play(
    board: Emulator, items: list[tuple[int, int]], wave: int, form: WaveForm = FORM
) -> tuple[list[tuple[int, int]], int]:
    """Plays it; the codes of a wave at the pins, (cycle from which on it stands, code), and the
    cycle of run tick 0, as the edges of the outputs tell it.
    """
    board.host.send("CONFIG", form.config(wave, 0).pack())
    encoder = RandomEncoder(1, 7168)
    player = Player(board, encoder.payloads(items), len(items), encoder.tick)
    player.arm()
    board.edges()
    player.start()
    player.finish()
    board.run(10 * MS)
    assert (board.host.state, board.host.reason) == ("holding", "end")
    edges = board.edges()
    assert (errors(edges, items) == 0).all()
    codes = [(at, upper << 8 | lower) for at, own, upper, lower in board.voltages if own == wave]
    return codes, int(edges[0][0]) - items[0][0]


def crossings_of(items: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """When output 0 turns over, and the mask from then on."""
    ticks = np.cumsum([delta for delta, _ in items]).tolist()
    masks = [mask for _, mask in items]
    return [(t, b) for t, a, b in zip(ticks, [0, *masks], masks, strict=False) if (a ^ b) & 1]


def wanted_codes(form: WaveForm, crossings: list[tuple[int, int]], ticks: list[int]) -> list[int]:
    """The codes at run ticks of a wave whose output is low first."""
    track, starts = WaveTrack(form), [tick for tick, _ in crossings]
    lengths = [b - a for a, b in pairwise(starts)]
    told = []
    for length, (_, mask) in zip(lengths, crossings, strict=False):
        told.append(track.tell(length, mask))
    found = []
    for tick in ticks:
        n = int(np.searchsorted(starts, tick, side="right")) - 1
        inside = 0 <= n < len(told)
        level, at = (n + 1) & 1, tick - starts[n]
        found.append(code_of(form, told[n], level, lengths[n], at) if inside else MIDDLE)
    return lifted(found, CODE_CYCLES, form.corner_ticks)


@pytest.mark.parametrize(
    ("half_pitch", "to", "wave", "form"),
    [(60_000, 30_000, 0, WHOLE), (15_000, 9_000, 1, FORM)],
    ids=["slow, lifted, of two strengths", "fast"],
)
def test_codes_leave_the_pins_at_their_cycle(
    emulator: Callable[..., Emulator], half_pitch: int, to: int, wave: int, form: WaveForm
) -> None:
    """Each stands for 1,024 cycles and is what its half-wave is in their middle."""
    items = wheel(2, half_pitch, to)
    codes, origin = play(emulator(), items, wave, form)
    run = [(at, value) for at, value in codes if at > origin][4:-2]
    assert len(run) > 1_000
    assert all(b - a == CODE_CYCLES for (a, _), (b, _) in pairwise(run))
    middles = [at + CODE_CYCLES // 2 - origin for at, _ in run]
    assert [value for _, value in run] == wanted_codes(form, crossings_of(items), middles)
    assert codes[-1][1] == MIDDLE


def test_zero_crossings_stand_on_the_teeth_and_amplitude_follows_speed(
    emulator: Callable[..., Emulator],
) -> None:
    """What the codes say without any knowledge of how they were made: straight lines between the
    middles of their times cross zero within 0.05 degrees of the transition."""
    half_pitch = 20_000  # 3,125 rpm
    items = wheel(2, half_pitch, half_pitch)
    codes, origin = play(emulator(), items, 0)
    at = np.array([cycle + CODE_CYCLES // 2 - origin for cycle, _ in codes], float)
    volts = np.array([value - MIDDLE for _, value in codes], float)
    turns = np.flatnonzero(volts[:-1] * volts[1:] < 0)
    crossed = at[turns] - volts[turns] * (at[turns + 1] - at[turns]) / (
        volts[turns + 1] - volts[turns]
    )
    wanted = np.array([tick for tick, _ in crossings_of(items)[1:-1]], float)
    nearest = wanted[np.abs(wanted[:, None] - crossed[None, :]).argmin(axis=0)]
    off_deg = (crossed - nearest) / half_pitch * 3
    print(f"{len(crossed)} crossings, off by {np.abs(off_deg).max():.4f} degrees at most")
    assert len(crossed) > 200
    assert np.abs(off_deg).max() < 0.05
    assert volts.max() == pytest.approx(32_000 * AT_6000_RPM / half_pitch, rel=0.02)


def test_a_stop_brings_the_wave_to_rest_at_once(emulator: Callable[..., Emulator]) -> None:
    board = emulator()
    board.host.send("CONFIG", FORM.config(0, 0).pack())
    items = wheel(20, 15_000, 15_000)
    encoder = RandomEncoder(1, 7168)
    player = Player(board, encoder.payloads(items), len(items), encoder.tick)
    player.arm()
    player.start()
    board.run(20 * MS)
    board.host.stop()
    stopped = board.last["cycle"]
    board.run(20 * MS)
    assert board.host.state == "holding"
    after = [(at, upper << 8 | lower) for at, own, upper, lower in board.voltages if own == 0]
    assert after[-1][1] == MIDDLE
    assert after[-1][0] < stopped + MS


@pytest.mark.parametrize(("half_pitch", "waves"), [(6_250, 1), (12_500, 2)])
def test_20_000_half_waves_a_second_are_kept_up_with(
    emulator: Callable[..., Emulator], half_pitch: int, waves: int
) -> None:
    """One wave of 60-2 at 10,000 rpm, or two at 5,000, each with all that a form may ask for."""
    board = emulator()
    if waves == 2:
        board.host.send("CONFIG", WHOLE.config(1, 1).pack())
    codes, _ = play(board, wheel(8, half_pitch, half_pitch), 0, WHOLE)
    assert len(codes) > 1_000

"""What the simulated board tells of its VR outputs: a height for every change of the line."""

import numpy as np
import pytest

import plain_waves
from edgewheel.board.waves import Waves
from edgewheel.link.waves import LONGEST_HALF_WAVE, HalfWave, WaveForm, switched_off

LINE = 2
SHAPE = bytes(17)
KNEES, PEAK = [1_000, 3_000], 30_000
FORM = WaveForm(PEAK, 1, tuple(HalfWave(knee, SHAPE) for knee in KNEES))
SLOW = WaveForm(PEAK, 1, (HalfWave(1 << 27, SHAPE),))
LENGTHS = [2_000, 2_000, 6_000, 6_000, 30, 2_000, 1_500, 500]


def board(mask=0, form=FORM):
    waves = Waves(2, 8)
    assert waves.configure(form.config(1, LINE))
    waves.open(mask)
    return waves


def crossings(lengths, mask=0):
    """Ticks and masks of the line, another line changing between."""
    own = 100 + np.concatenate(([0], np.cumsum(lengths)))
    ticks = np.sort(np.concatenate((own, own + 10)))
    changes = np.where(np.isin(ticks, own), 1 << LINE, 1)
    return own, ticks, (mask ^ np.bitwise_xor.accumulate(changes)).astype(np.uint8)


def heights(waves):
    (peaks,) = waves.take_peaks()
    assert peaks.line == LINE
    return peaks.ticks.tolist(), peaks.heights.tolist()


@pytest.mark.parametrize("mask", [0, 1 << LINE], ids=["low first", "high first"])
def test_every_half_wave_has_its_height_but_the_one_before_the_first_change(mask):
    own, ticks, masks = crossings(LENGTHS, mask)
    waves = board(mask)
    waves.follow(ticks, masks)
    wanted = [height for _, height in plain_waves.told(KNEES, PEAK, LENGTHS)]
    assert heights(waves) == (own.tolist(), [0, *wanted])
    assert heights(waves) == ([], [])


def test_pieces_make_no_difference():
    _, ticks, masks = crossings(LENGTHS)
    whole, pieces = board(), board()
    whole.follow(ticks, masks)
    for at in range(len(ticks)):
        pieces.follow(ticks[at : at + 1], masks[at : at + 1])
    assert heights(pieces) == heights(whole)


def test_what_lasts_too_long_and_what_ends_in_a_rest_has_no_height():
    waves = board(form=SLOW)
    _, ticks, masks = crossings([1 << 27, LONGEST_HALF_WAVE + 1, LONGEST_HALF_WAVE])
    waves.follow(ticks, masks)
    assert heights(waves)[1] == [0, PEAK, 0, PEAK * (1 << 27) // LONGEST_HALF_WAVE]
    last = int(ticks[-1])
    waves.rest(np.array([last + 2_000]), masks[-1:] ^ np.uint8(1 << LINE))
    assert heights(waves) == ([last + 2_000], [0])


def test_a_wave_that_is_refused_or_switched_off_follows_nothing():
    waves = Waves(2, 8)
    assert not waves.configure(FORM.config(2, LINE))
    assert not waves.configure(FORM.config(0, 8))
    assert not waves.configure(switched_off(2))
    assert waves.configured == 0
    assert waves.configure(FORM.config(0, LINE)) and waves.configured == 1
    assert waves.configure(switched_off(0)) and waves.configured == 0
    waves.open(0)
    assert waves.take_peaks() == ()

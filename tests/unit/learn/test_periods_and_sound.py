"""What lists of tooth periods and sound cards leave of a wheel comes back, or is refused."""

import numpy as np
import pytest

from captures import (
    MOTIONS,
    busiest,
    off_deg,
    one_edge_off_deg,
    save_periods,
    save_wav,
    table,
)
from edgewheel.edges.captures.read import read_capture
from edgewheel.errors import FileError
from edgewheel.learn.learn import learn
from edgewheel.learn.ripple import FEW
from edgewheel.wheel.library import names
from library_wheels import library_wheel


@pytest.mark.parametrize("motion", ["up", "cranking"])
@pytest.mark.parametrize("name", ["60-minus-2", "36-minus-1", "30-minus-2", "24-2-unequal-gaps"])
def test_tooth_periods_tell_pitches_and_gaps(name, motion, tmp_path):
    """One interval a line in whole microseconds, one edge of the crank only."""
    _, edges = table(name, motion)
    level = 0 if library_wheel(name).tracks[0].sensor.kind == "vr" else 1
    own = (edges.track == 0) & (edges.level == level)
    path = tmp_path / "periods.txt"
    np.savetxt(path, np.diff(edges.ticks[own]), fmt="%d")
    learned = learn(read_capture(path))
    wanted = [tooth.begin for tooth in library_wheel(name).tracks[0].teeth]
    found = [tooth.begin for tooth in learned.best.wheel.tracks[0].teeth]
    assert found == wanted
    assert not learned.best.shape.tracks[0].width_known
    assert learned.best.in_library


@pytest.mark.slow
@pytest.mark.parametrize("motion", MOTIONS)
def test_tooth_periods_of_every_wheel_give_one_edge_of_its_teeth_back(motion, tmp_path):
    """Where every period is the same number, nothing tells the list from a column of no signal."""
    for name in names():
        wheel = library_wheel(name)
        only = busiest(wheel)
        path = save_periods(tmp_path / "p.txt", *table(name, motion), only)
        if len(set(path.read_text().split())) == 1:
            with pytest.raises(FileError, match="an even wheel at a speed that never changes"):
                read_capture(path)
            continue
        learned = learn(read_capture(path))
        offs = [one_edge_off_deg(wheel, only, one.wheel) for one in learned.explanations]
        off = min((off for off in offs if off is not None), default=np.inf)
        hidden = learned.best.pattern.teeth <= 2 * FEW and motion != "steady"
        assert off < 0.5 or (hidden and not learned.sure), (name, off, learned.doubts)


@pytest.mark.slow
@pytest.mark.parametrize("rate", [48_000, 192_000])
def test_sound_of_every_wheel_gives_it_back_or_is_refused(rate, tmp_path):
    """The pulses of 30 and 45 us of direction sensors last less than four samples at 48 kHz."""
    refused = []
    for number, name in enumerate(names()):
        path = save_wav(tmp_path / "a.wav", *table(name, "steady"), rate, noise=0.02)
        try:
            capture = read_capture(path)
        except FileError as error:
            assert "sampled too slowly" in str(error)
            refused.append(name)
            continue
        if rate == 48_000 or number % 4 == 0 or "direction" in name:
            learned = learn(capture)
            assert (off_deg(library_wheel(name), learned.best.wheel) or 0) < 0.5, name
            assert not learned.best.deviations, name
    wanted = ["36-minus-1-direction", "60-minus-2-direction"] if rate == 48_000 else []
    assert refused == wanted


@pytest.mark.parametrize("rate", [48_000, 192_000])
def test_sound_with_noise_gives_a_wheel_back(rate, tmp_path):
    path = save_wav(tmp_path / "a.wav", *table("36-minus-1", "steady"), rate, noise=0.05)
    learned = learn(read_capture(path))
    assert learned.sure
    assert (off_deg(library_wheel("36-minus-1"), learned.best.wheel) or 0) < 0.5


@pytest.mark.parametrize("rate", [48_000, 192_000])
def test_a_vr_sensor_recorded_from_slow_to_fast_gives_its_wheel_back(rate, tmp_path):
    """Amplitude grows fivefold; what arms the crossing follows."""
    path = save_wav(tmp_path / "a.wav", *table("60-minus-2", "up"), rate, noise=0.004, vr=True)
    capture = read_capture(path)
    assert "VR" in capture.found[1]
    learned = learn(capture)
    assert learned.best.shape.turn_slots == 60
    assert len(learned.best.wheel.tracks[0].teeth) == 58
    assert learned.best.in_library


def test_a_wheel_too_fine_for_the_sound_card_is_refused(tmp_path):
    header, edges = table("360-slit-disc-4-windows", "steady")
    path = save_wav(tmp_path / "a.wav", header, edges, 8_000, noise=0.02)
    with pytest.raises(FileError, match=r"sampled too slowly.*(?s:.)*at least [\d,]+ samples"):
        read_capture(path)

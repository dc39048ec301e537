"""The strength of a VR signal in wheel files."""

from fractions import Fraction

import pytest

from edgewheel.errors import FileError
from edgewheel.wheel.loader import parse_wheel
from edgewheel.wheel.model import Amplitude


def wheel(sensor: str):
    return parse_wheel(
        "format: 1\nname: one\nperiod: 360\ntracks:\n  crank:\n    shaft: crank\n"
        f"    sensor: {sensor}\n    teeth: {{pitches: 4}}\n",
        "vr.yaml",
    )


def test_an_amplitude_has_a_slope_and_a_threshold_and_may_have_more():
    plain = wheel("{kind: vr, amplitude: {mv_per_rpm: 2.5, threshold_mv: 300}}")
    assert plain.tracks[0].sensor.amplitude == Amplitude(Fraction("2.5"), Fraction(300))
    left_to_the_controller = wheel("{kind: vr, amplitude: {mv_per_rpm: 2.5}}")
    assert left_to_the_controller.tracks[0].sensor.amplitude == Amplitude(Fraction("2.5"), None)
    full = wheel(
        "{kind: vr, amplitude: {mv_per_rpm: 2, threshold_mv: 300, knee_rpm: 4000, "
        "run_out: 0.1, closest_at: 90}}"
    )
    assert full.tracks[0].sensor.amplitude == Amplitude(
        Fraction(2), Fraction(300), Fraction(4000), Fraction(1, 10), Fraction(90)
    )


WRONG = [
    ("{amplitude: {mv_per_rpm: 1, threshold_mv: 1}}", "only a VR sensor's"),
    ("{kind: hall, amplitude: {mv_per_rpm: 1, threshold_mv: 1}}", "Write 'kind: vr'"),
    ("{kind: vr, amplitude: 5}", "Write keys and values"),
    ("{kind: vr, amplitude: {threshold_mv: 1}}", "'mv_per_rpm' is missing"),
    ("{kind: vr, amplitude: {mv_per_rpm: 0, threshold_mv: 1}}", "more than 0"),
    ("{kind: vr, amplitude: {mv_per_rpm: 1, threshold_mv: -1}}", "more than 0"),
    ("{kind: vr, amplitude: {mv_per_rpm: 1, threshold_mv: 1, run_out: 1}}", "less than 1"),
    ("{kind: vr, amplitude: {mv_per_rpm: 1, threshold_mv: 1, closest_at: 360}}", "less than 360"),
    ("{kind: vr, amplitude: {mv_per_rpm: 1, threshold_mv: 1, knee: 9}}", "'knee_rpm'"),
    (
        "{kind: vr, amplitude: {mv_per_rpm: 1, threshold_mv: 100, knee_rpm: 90}}",
        "never reaches the threshold of 100 mV",
    ),
]


@pytest.mark.parametrize(("sensor", "words"), WRONG)
def test_a_wrong_amplitude_says_where_and_what_would_be_right(sensor, words):
    with pytest.raises(FileError) as caught:
        wheel(sensor)
    assert words in str(caught.value)
    assert caught.value.place.line == 7
    assert "amplitude" in str(caught.value.place)

"""Controller settings from YAML: what is read, and what is refused with which words."""

import pytest

from edgewheel import yamlfile
from edgewheel.controller.sim.reading import read_settings
from edgewheel.controller.sim.settings import InputSettings, MissingTeeth, RcSettings
from edgewheel.errors import FileError
from sim_trains import WHEELS, settings_from

SMALLEST = """
crank: {line: crank}
wheel: {kind: missing_teeth, pitches: 36, missing: 1, gap_ratio_low: 1.5, gap_ratio_high: 2.7}
"""


def test_the_smallest_settings_are_a_line_and_a_wheel():
    settings = settings_from(SMALLEST)
    assert settings.crank == InputSettings(line="crank")
    assert settings.wheel == MissingTeeth(36, 1, 1.5, 2.7)
    assert settings.cam is None
    assert settings.ignition is not None


def test_groups_lists_and_nothing_are_read():
    settings = settings_from(
        SMALLEST.replace(
            "{line: crank}",
            "{line: crank, rc: {rise_time_constant_us: 47, fall_time_constant_us: 0.5}}",
        ),
        "ignition:",
        "injection: {duration_ms: 3}",
        "engine: {firing_order: [1, 2], firing_deg: [0, 360]}",
    )
    assert settings.crank.rc == RcSettings(47.0, 0.5)
    assert settings.ignition is None
    assert settings.engine.firing_deg == (0.0, 360.0)


def test_every_wheel_of_the_table_reads():
    for wheel in WHEELS.values():
        settings_from(wheel.settings)


CAM = "cam: {line: cam}"
WRONG = [
    ("crank: {line: crank}", "'wheel' is missing", "Add 'wheel:'"),
    (SMALLEST + "spark: {}", "'spark' is not known here", "Write"),
    (SMALLEST + "ignition: {dwel_ms: 3}", "'dwel_ms' is not known here", "Write 'dwell_ms'"),
    (SMALLEST.replace("missing_teeth", "mising_teeth"), "not known here", "'missing_teeth'"),
    (SMALLEST.replace("pitches: 36", "pitches: 36.5"), "not a whole number", "whole number"),
    (SMALLEST.replace("pitches: 36", "pitches: many"), "not a number", "integer"),
    (SMALLEST.replace("pitches: 36", "pitches: 1000000"), "too large", "at most 1000"),
    (SMALLEST.replace("missing: 1", "missing: 35"), "fewer than two teeth", "at most 34"),
    (SMALLEST.replace("high: 2.7", "high: 1.2"), "no room between its limits", "more than 1.5"),
    (SMALLEST.replace("pitches: 36,", ""), "'pitches' is missing", "Add 'pitches:'"),
    (SMALLEST.replace("{line: crank}", "{line: crank, edge: up}"), "'up' is not known", "rising"),
    (SMALLEST.replace("{line: crank}", "{line: crank, filter_us: -1}"), "too small", "at least 0"),
    (SMALLEST.replace("{line: crank}", "{line: crank, filter_us: nan}"), "not a number", "integer"),
    (SMALLEST.replace("{line: crank}", "{line: crank, inverted: 2}"), "not yes or no", "true"),
    (SMALLEST.replace("{line: crank}", "crank"), "'crank' stands here", "keys and values"),
    (SMALLEST + "phase: {by: level}", "need a second input", "Add 'cam:'"),
    (SMALLEST + "cam: {line: crank}", "both inputs are on one line", "another line than crank"),
    (
        SMALLEST + CAM + "\nphase: {by: edge, window_from_deg: 90, window_to_deg: 80}",
        "ends before it begins",
        "more than 90",
    ),
    (
        SMALLEST + CAM + "\nphase: {by: count, first_turn_edges: 2, second_turn_edges: 2}",
        "same number of cam edges",
        "another number than 2",
    ),
    (SMALLEST + "engine: {firing_order: [1, 3, 3, 2]}", "stands twice", "each cylinder once"),
    (SMALLEST + "engine: {firing_order: [1, 2]}", "4 angles for 2 cylinders", "Write 2 angles"),
    (
        SMALLEST + "engine: {firing_order: [1, 2, 3], firing_deg: [0, 240, 480]}\n"
        "ignition: {coils: pairs}",
        "no pairs",
        "per_cylinder",
    ),
    (SMALLEST + "ignition: {advance_table: [[2000, 10], [1000, 5]]}", "do not ascend", "Sort"),
    (SMALLEST + "ignition: {advance_table: []}", "the table is empty", "[[rpm, degrees]"),
    (SMALLEST + "ignition: {advance_table: [[1000, 5, 7]]}", "3 values stand here", "2 values"),
    (SMALLEST + "ignition: {dwell_ms: 20}", "longest dwell is shorter", "at least 20"),
    (SMALLEST + "report: {rate_hz: 0}", "too small", "more than 0"),
    (
        SMALLEST.replace(
            "{line: crank}",
            "{line: crank, rc: {rise_time_constant_us: 1, fall_time_constant_us: 1,"
            " upper_threshold_percent: 30}}",
        ),
        "not below the upper one",
        "less than 30",
    ),
    (
        "crank: {line: a}\nwheel: {kind: uneven_windows, windows_deg: [[0, 50], [40, 90]]}",
        "not one after the other",
        "below 720",
    ),
    (
        "crank: {line: a}\nwheel: {kind: uneven_windows, windows_deg: [[10, 50], [60, 90]]}",
        "does not open at 0",
        "first window opens",
    ),
    (
        "crank: {line: a}\nwheel: {kind: uneven_windows, windows_deg: [[0, 50]]}",
        "nothing to be told from",
        "at least two",
    ),
    (
        "crank: {line: a}\nwheel: {kind: slotted_disc, slits: 360}",
        "'windows_slits' is missing",
        "Add",
    ),
    ("crank: {line: a}\nwheel: {kind: even_teeth, teeth: 24}", "need a second input", "Add 'cam:'"),
    (
        "crank: {line: a}\nwheel: {kind: added_tooth, teeth: 2}",
        "cannot be told from the rest",
        "at least 3",
    ),
    (
        "crank: {line: a}\nwheel: {kind: tooth_per_cylinder, cylinders: 4, tooth_ratio_low: 2000}",
        "too large",
        "at most 1000",
    ),
]


@pytest.mark.parametrize(("text", "problem", "remedy"), WRONG)
def test_what_cannot_be_meant_is_refused_with_file_line_key_and_remedy(text, problem, remedy):
    with pytest.raises(FileError) as caught:
        read_settings(yamlfile.parse(text, "fan.yaml"))
    error = caught.value
    assert problem in error.problem
    assert remedy in error.remedy
    assert error.place.file == "fan.yaml"
    assert error.place.line > 0

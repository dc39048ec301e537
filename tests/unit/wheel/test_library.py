from pathlib import Path

import pytest

from edgewheel.errors import FileError, UsageError
from edgewheel.wheel import library
from edgewheel.wheel.loader import parse_wheel
from library_wheels import entries

ENTRIES = {entry.stem: entry.wheel for entry in entries()}


def teeth(stem: str, track: str = "crank") -> int:
    return len(ENTRIES[stem].track(track).teeth)


def test_every_wheel_says_what_it_is_and_where_it_is_met():
    for stem, wheel in ENTRIES.items():
        assert wheel.name and wheel.summary and wheel.met, stem
        assert wheel.group in library.GROUPS, stem
        assert wheel.tdc, stem
    assert len({wheel.name for wheel in ENTRIES.values()}) == len(ENTRIES)


def test_no_group_is_empty():
    assert {wheel.group for wheel in ENTRIES.values()} == set(library.GROUPS)


def test_names_count_pitches_and_missing_teeth():
    """36-minus-1 has 36 pitches of which one is missing, so 35 teeth, and so for all of them."""
    counted = 0
    for stem, wheel in ENTRIES.items():
        words = stem.split("-")
        if "minus" in words:
            track = wheel.tracks[0]
            assert len(track.teeth) == int(words[0]) - int(words[2]), stem
            counted += 1
    assert counted >= 25


@pytest.mark.parametrize("cylinders", [1, 2, 3, 4, 5, 6, 8, 10])
def test_one_tooth_per_cylinder(cylinders: int):
    stem = "1-tooth" if cylinders == 1 else f"{cylinders}-even-cam"
    wheel = ENTRIES[stem]
    assert len(wheel.tracks[0].teeth) == len(wheel.tdc) == cylinders


def test_missing_teeth_from_four_to_a_hundred_and_twenty():
    minus = [stem.split("-") for stem, wheel in ENTRIES.items() if wheel.group == "one gap"]
    assert {int(words[2]) for words in minus} == {1, 2, 3}
    assert min(int(words[0]) for words in minus) == 4
    assert max(int(words[0]) for words in minus) == 120


def test_kinds_that_need_more_than_teeth():
    assert ENTRIES["24-minus-1-two-stroke"].period == 360
    assert ENTRIES["60-minus-2-direction"].track("crank").sensor.direction is not None
    assert len(ENTRIES["60-minus-2-4-cams"].tracks) == 5
    angles = [angle for _, angle in ENTRIES["30-minus-2-odd-fire-v-twin"].tdc]
    assert angles[1] - angles[0] == 315
    assert teeth("135-even-ring-gear-pin", "ring") == 135
    assert teeth("360-slit-disc-unequal-windows", "angle") == 360


def test_fewer_and_larger_numbers_come_in_their_order():
    names = library.names()
    assert names.index("4-even-cam") < names.index("12-even-1-tooth-cam")
    assert names.index("12-even-1-tooth-cam") < names.index("100-even-1-tooth-cam")


def test_unknown_name_is_answered_with_the_nearest():
    with pytest.raises(UsageError, match="Is it 36-minus-1") as caught:
        library.find("36-minis-1")
    assert caught.value.exit_code == 2
    with pytest.raises(UsageError, match="Is it 60-minus-2-half-moon-cam"):
        library.find("60-minus-2-half")
    with pytest.raises(UsageError, match="edgewheel wheels"):
        library.find("nothing of the kind")


def test_a_path_is_a_file_not_a_name(tmp_path: Path):
    mine = tmp_path / "mine.yaml"
    mine.write_text("format: 1\nname: m\nperiod: 360\ntracks: {t: {shaft: crank, teeth: [[0, 9]]}}")
    assert library.find(str(mine)).name == "m"
    assert library.find(mine).name == "m"
    with pytest.raises(FileError, match="no such file"):
        library.find("36-minus-1.yaml/none.yaml")


def test_every_form_of_teeth_means_the_same():
    """Four teeth of 30 degrees that begin at 10, 100, 190 and 280, said in three ways."""
    forms = [
        '{pitches: 4, width: "1/3", offset: 10}',
        "{spans: [30, 60, 30, 60, 30, 60, 30, 60], offset: 370/37}",
        "[[100, 130], [10, 40], [280, 310], [190, 220]]",
        "{pitches: 2, width: 1/6, offset: 10, extra: [[90, 120], [270, 300]]}",
    ]
    text = "format: 1\nname: m\nperiod: 360\ntracks: {{t: {{shaft: crank, teeth: {}}}}}"
    found = {parse_wheel(text.format(form), "m.yaml").tracks[0].teeth for form in forms}
    assert len(found) == 1


def test_missing_number_and_missing_list_mean_the_same():
    text = "format: 1\nname: m\nperiod: 360\ntracks: {{t: {{shaft: crank, teeth: {}}}}}"
    one, other = (
        parse_wheel(text.format(form), "m.yaml").tracks[0].teeth
        for form in ("{pitches: 60, missing: 2}", "{pitches: 60, missing: [60, 59], width: 0.5}")
    )
    assert one == other


def test_offset_carries_teeth_across_the_turn_and_keeps_their_order():
    text = "format: 1\nname: m\nperiod: 360\ntracks: {t: {shaft: crank, teeth: {{OFFSET}}}}"
    text = text.replace("{{OFFSET}}", "{pitches: 4, offset: -10}")
    teeth = parse_wheel(text, "m.yaml").tracks[0].teeth
    assert [(tooth.begin, tooth.end) for tooth in teeth] == [
        (80, 125),
        (170, 215),
        (260, 305),
        (350, 395),
    ]

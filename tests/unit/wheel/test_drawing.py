import re
from itertools import pairwise
from math import atan2, degrees, hypot
from pathlib import Path
from xml.etree import ElementTree

import pytest

from edgewheel.wheel import library
from edgewheel.wheel.angles import angle_table
from edgewheel.wheel.drawing.disc import disc_for, draw_body, numbers_shown
from edgewheel.wheel.drawing.figure import wheel_svg
from edgewheel.wheel.drawing.sheet import sheet_svg
from edgewheel.wheel.drawing.svg import Canvas, mm
from edgewheel.wheel.drawing.traces import Axis, Lane, draw_trace
from edgewheel.wheel.loader import parse_wheel
from library_wheels import entries

SVG = "{http://www.w3.org/2000/svg}"
ENTRIES = entries()


def wheel(tracks: str, more: str = ""):
    text = f"format: 1\nname: Own & <odd>\nperiod: 720\ntracks:\n{tracks}\n{more}"
    return parse_wheel(text, "t.yaml")


def elements(svg: str, tag: str):
    return list(ElementTree.fromstring(svg).iter(SVG + tag))


def words(svg: str) -> list[str]:
    return [text.text or "" for text in elements(svg, "text")]


def paths(canvas: Canvas) -> list[str]:
    svg = canvas.document(1, 1, "t", "")
    return [path.get("d") or "" for path in elements(svg, "path")]


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry.stem)
def test_every_figure_is_whole_and_within_its_frame(entry: library.Entry):
    svg = wheel_svg(entry.wheel)
    root = ElementTree.fromstring(svg)
    width, height = (float(root.get(side) or 0) for side in ("width", "height"))
    for text in root.iter(SVG + "text"):
        assert 0 <= float(text.get("x") or -1) <= width
        assert 0 <= float(text.get("y") or -1) <= height
    said = words(svg)
    assert entry.wheel.name in said
    assert any("front of the engine" in one and "clockwise" in one for one in said)
    for cylinder, _ in entry.wheel.tdc:
        assert f"TDC {cylinder}" in said
    for track in entry.wheel.tracks:
        assert track.name in said


def test_dimensions_of_both_edges_stand_on_the_picture():
    said = words(wheel_svg(library.find("60-minus-2-half-moon-cam")))
    assert "rising edge 84° before TDC 1" in said
    assert "falling edge 81° before TDC 1" in said


def test_vr_sensor_is_dimensioned_by_its_crossings():
    said = words(wheel_svg(library.find("60-minus-2")))
    assert "falling zero crossing 112.5° before TDC 1" in said
    assert "rising zero crossing 109.5° before TDC 1" in said


def test_lone_vr_tooth_has_one_crossing_to_measure_from():
    said = " ".join(words(wheel_svg(library.find("6-plus-1"))))
    assert "falling zero crossing" in said
    assert "rising zero crossing" not in said


def test_edge_after_tdc_is_said_to_be_after_it():
    said = words(wheel_svg(library.find("4-even-cam")))
    assert "rising edge 30° before TDC 1" in said
    assert "falling edge 30° after TDC 1" in said


def test_gaps_are_named_where_there_are_gaps_only():
    assert "gap" in words(wheel_svg(library.find("36-minus-1")))
    assert "gap" not in words(wheel_svg(library.find("12-wide-tooth")))
    assert "gap" not in words(wheel_svg(library.find("4-uneven-windows-cam")))


def test_text_of_a_file_cannot_break_the_picture():
    assert "Own & <odd>" in words(wheel_svg(wheel("  t: {shaft: crank, teeth: [[0, 9]]}")))


def test_eight_tracks_and_many_cylinders_still_fit():
    tracks = "\n".join(f"  track_{n}: {{shaft: cam, teeth: [[{n}, 90]]}}" for n in range(8))
    tdc = ", ".join(f"{n + 1}: {45 * n}" for n in range(16))
    assert len(elements(wheel_svg(wheel(tracks, f"tdc: {{{tdc}}}")), "circle")) == 8


def test_square_trace_has_the_edges_of_the_angle_table():
    one = wheel("  t: {shaft: crank, sensor: {metal: low}, teeth: {pitches: 12, missing: 1}}")
    canvas = Canvas()
    draw_trace(canvas, Axis(0, 720, 720), Lane(10, 20), one.tracks[0], "ink")
    drawn = re.findall(r"H([\d.]+)V([\d.]+)", paths(canvas)[0])
    table = angle_table(one)
    expected = [
        (float(angle), 20.0 if metal else 10.0)
        for angle, metal in zip(table.angles, table.metal, strict=True)
    ]
    assert [(float(x), float(y)) for x, y in drawn] == expected


def test_vr_trace_falls_through_zero_at_the_centre_of_each_tooth():
    one = wheel("  t: {shaft: crank, sensor: {kind: vr}, teeth: [[100, 120]]}")
    canvas = Canvas()
    draw_trace(canvas, Axis(0, 720, 720), Lane(0, 20), one.tracks[0], "ink")
    points = [tuple(map(float, p.split())) for p in paths(canvas)[1].strip("M").split("L")]
    height = dict(points)
    assert height[110] == 10
    assert all(y < 10 for x, y in points if 70 < x < 110)
    assert all(y > 10 for x, y in points if 110 < x < 150)
    assert all(y == 10 for x, y in points if 150 <= x <= 430)


def test_disc_turns_clockwise_so_later_teeth_stand_further_left():
    """A tooth that comes after a quarter turn stands at nine o'clock, seen from the front."""
    track = wheel("  t: {shaft: crank, teeth: [[0, 4], [90, 94], [200, 203]]}").tracks[0]
    disc = disc_for(track, (0, 0), 100)
    canvas = Canvas()
    draw_body(canvas, disc, track, None)
    corners = [
        tuple(map(float, p))
        for p in re.findall(r"(-?[\d.]+) (-?[\d.]+)(?=[ALZ])", paths(canvas)[0])
    ]
    on_the_rim = {
        round(degrees(atan2(-x, -y)) % 360, 1) for x, y in corners if abs(hypot(x, y) - 100) < 0.1
    }
    assert on_the_rim == {0, 4, 90, 94, 200, 203}


def test_numbers_thin_out_before_they_collide():
    track = wheel("  t: {shaft: crank, teeth: {pitches: 120}}").tracks[0]
    shown = numbers_shown(track, 600, 20, 33)
    assert {1, 33} <= set(shown)
    places = sorted(float(track.teeth[n - 1].centre) / 360 * 600 for n in shown)
    assert min(b - a for a, b in pairwise(places)) >= 20
    assert numbers_shown(track, 10_000, 20, None) == tuple(range(1, 121))


def test_coordinates_are_short():
    assert [mm(value) for value in (1.0, -0.001, 2.50, 3.14159, 120.0)] == [
        "1",
        "0",
        "2.5",
        "3.14",
        "120",
    ]


def test_sheet_in_the_library_is_fresh():
    """If this fails, make it again: edgewheel draw --sheet wheels/sheet.svg"""
    kept = (library.folder() / "sheet.svg").read_text(encoding="utf-8")
    assert kept == sheet_svg(ENTRIES)


def test_sheet_shows_every_wheel_and_changes_with_any_of_them():
    sheet = sheet_svg(ENTRIES)
    assert set(words(sheet)) >= {entry.stem for entry in ENTRIES}
    assert sheet != sheet_svg(ENTRIES[1:])


def test_drawings_are_offline_and_alone():
    for svg in (sheet_svg(ENTRIES[:3]), wheel_svg(ENTRIES[0].wheel)):
        assert not re.search(r"(?:href|src|url|@import)", svg)
        assert svg.count("http") == 1  # the name of the SVG namespace


def test_sheet_has_no_path_of_a_machine():
    assert str(Path.home()) not in sheet_svg(ENTRIES)

"""Every kind of evidence becomes a picture that the library draws, with its data in a table."""

import json
from math import inf
from xml.etree import ElementTree as Xml

import pytest

from edgewheel.report.drawing import static_svg
from edgewheel.report.pictures.drawn import pictures, why, words
from edgewheel.report.pictures.envelope import border_of
from edgewheel.report.pictures.looks import number
from edgewheel.search.border import Border
from records import HOSTILE, POINTS, THRESHOLD

TRACK = {"name": f"crank {HOSTILE}", "initial": 0, "edges": [0.99, 0.992, 0.995, 1.0]}
WAVEFORM = {
    "kind": "waveform", "tracks": [TRACK], "sound": [{**TRACK, "edges": [0.99, 0.992]}],
    "counted": [0.99, 0.995], "loss": 1.0, "begin": 0.989, "end": 1.001, "reason": HOSTILE,
    "marked": [{"track": TRACK["name"], "seconds": 0.995, "why": "was counted twice"}] * 2,
}  # fmt: skip
SAMPLES = {
    "threshold": THRESHOLD,
    "no threshold": {**THRESHOLD, "found": "no threshold", "threshold": None, "low": None,
                     "high": None, "spread": None, "fails": None, "limit": 20_000.0},
    "gradual threshold": {**THRESHOLD, "spread": 55.0, "fails": "below", "trials": [
        {"x": 5000.0, "passed": False, "told": ""}, {"x": 8000.0, "passed": True, "told": ""}]},
    "points": POINTS,
    "waveform": WAVEFORM,
    "waveform of a real controller": {**WAVEFORM, "counted": None, "sound": [], "marked": []},
    "staircase": {"kind": "staircase", "highest_rpm": 500.0, "points": [
        {"way": "up", "rpm": 500.0, "synced": True, "detail": ""},
        {"way": "up", "rpm": 750.0, "synced": False, "detail": HOSTILE}]},
    "speed": {"kind": "speed", "true": [(0, 0), (1, 900.0)], "reported": [(1, 880.0)],
              "findings": [{"seconds": 0.5, "rpm": 400.0, "kind": "lost", "told": HOSTILE}]},
    "speed of nothing": {"kind": "speed", "true": [], "reported": [], "findings": []},
    "starts": {"kind": "starts", "least_of_the_wheel_deg": 315.0, "limit": 330.0, "starts": [
        {"start_deg": 0.0, "degrees": 200.0, "teeth": 30},
        {"start_deg": 90.0, "degrees": None, "teeth": None}]},
    "starts that all found it": {"kind": "starts", "starts": [
        {"start_deg": 60.0 * n, "degrees": degrees, "teeth": 30}
        for n, degrees in enumerate((300.0, 100.0, 200.0))]},
    "timing": {"kind": "timing", "rows": [
        {"line": "coil_1", "rpm": 1000.0, "error_deg": -0.1, "scatter_deg": 1e-12, "count": 9},
        {"line": "coil_2", "rpm_from": 1000, "rpm_to": 3000, "error_deg": 2.0, "scatter_deg": 0.5},
        {"line": "tacho", "rpm": 1000.0, "error_deg": None, "kind": "tacho"}],
        "ignition": {"reference_deg": {"value": 1.0}, "delay_us": {"value": 20.0}}},
    "diagnosis": {"kind": "diagnosis", "steps": [
        {"number": 1, "signal": "as it is", "stage": "nothing", "meaning": "no sync"},
        {"number": 2, "signal": "inverted", "stage": "right", "meaning": HOSTILE}]},
    "shrinking": {"kind": "shrinking", "trials": [
        {"stage": "failing again", "changes": 900, "seconds": 1.0, "failed": True, "found": "x"},
        {"stage": "without any", "changes": 0, "seconds": 1.0, "failed": False, "found": ""}]},
    "margins": {"kind": "margins", "tests": [
        {"title": "a", "grade": "passed", "value": 9.0, "low": 8.0, "high": None, "limit": 5.0,
         "sense": "at_least", "told": "9"},
        {"title": "b", "grade": "failed", "value": 9.0, "low": 8.0, "high": 10.0, "limit": 5.0,
         "sense": "at_most", "told": "9"},
        {"title": HOSTILE, "grade": "failed", "value": None, "low": None, "high": None,
         "limit": 5.0, "sense": "at_most", "told": ""}]},
}  # fmt: skip


ALT = {
    "threshold": "3 trials of speed, rpm. The controller fails above 7,398.",
    "no threshold": "3 trials of speed, rpm: no value was found at which it begins to fail.",
    "gradual threshold": "3 trials of speed, rpm. The controller fails below 7,398.",
    "waveform": "The tracks around the loss. 2 misread edges: 2 times an edge was counted twice.",
    "staircase": "A staircase of 2 speeds up and down: sync held at 1 of them and not at 1.",
    "speed": "The speed over 1 seconds, up to 900 rpm; sync was lost 1 time.",
    "starts": "2 starts from angles over the cycle: 1 found sync, at worst after 200 degrees; "
    "1 never did.",
    "timing": "2 points of timing error from 0 to 2,100 rpm; the largest is 2 degrees.",
    "diagnosis": "2 tries, each with another signal; in the last one: all is right.",
    "margins": "3 tests on one scale: 2 of them lie beyond their limit, at worst by 100 percent of "
    "it.",
}


@pytest.mark.parametrize("name", SAMPLES)
def test_it_is_drawn(name):
    (picture,) = pictures([SAMPLES[name]])
    json.dumps(picture.spec, allow_nan=False)
    svg = static_svg(picture.spec)
    root = Xml.fromstring(svg)
    assert root.tag.endswith("svg")
    assert "var(--ink)" in svg
    assert picture.alt == ALT.get(name, picture.alt)
    assert picture.alt and picture.title and picture.note
    assert not [one for one in root.iter() if one.tag.endswith(("script", "img"))]
    for layer in picture.spec["layer"]:
        for value in layer["data"]["values"]:
            assert drawn_fields(layer["encoding"]) <= set(value)
            assert is_within_axes(layer["encoding"], value)
    for row in picture.table.rows if picture.table else ():
        assert len(row) == len(picture.table.head) and set(map(type, row)) == {str}


def drawn_fields(encoding):
    """What places, looks and tooltips of a layer are read from."""
    tooltips = encoding.get("tooltip", [])
    channels = [*(tooltips if isinstance(tooltips, list) else [tooltips]), *encoding.values()]
    return {one["field"] for one in channels if isinstance(one, dict) and "field" in one}


def is_within_axes(encoding, value):
    """Whether a mark lies where its axes reach, to a rounding."""
    for way in ("x", "y"):
        place = encoding.get(way, {})
        at = value.get(place.get("field"))
        if isinstance(at, int | float):
            low, high = place.get("scale", {}).get("domain", (-inf, inf))
            if not low - 1e-6 <= at <= high + 1e-6:
                return False
    return True


TOP = 1.15 * 330
FIGURES = [
    ("threshold", 0, "x x2", [7359, 7438]),
    ("threshold", 1, "x y", [3850, 0, 7398, 0, 7398, 1, 9150, 1]),
    ("threshold", 2, "x y count", [4000, -0.09, 1, 7359, -0.09, 1, 9000, 1.09, 1]),
    ("threshold", 2, "what", ["held sync", "held sync", "failed"]),
    ("threshold", 3, "at", [7398]),
    ("no threshold", 0, "x y", [4000, -0.09, 7359, -0.09, 9000, 1.09]),
    ("no threshold", 1, "at", [20_000]),
    ("waveform", 0, "ms y", [-11, 1.75, -10, 2.75, -8, 1.75, -5, 2.75, 0, 1.75, 1, 1.75]),
    ("waveform", 1, "ms y", [-11, 3.5, -10, 4.5, -8, 3.5, 1, 3.5]),
    ("waveform", 2, "ms", [-10, -5]),
    ("waveform", 3, "ms", [-5, -5]),
    ("waveform", 4, "at words", [0, f"sync lost: {HOSTILE}"]),
    ("staircase", 1, "n rpm what", [1, 500, "held sync", 2, 750, "no sync"]),
    ("staircase", 2, "at", [500]),
    ("speed", 0, "s rpm", [0, 0, 1, 900, 1, 880]),
    ("speed", 1, "s rpm what", [0.5, 400, "sync lost"]),
    ("starts", 0, "start deg", [0, 200, 90, 0.97 * TOP]),
    ("starts", 1, "what", ["found sync", "never found sync"]),
    ("starts", 2, "at words", [315, "the wheel allows 315"]),
    ("starts", 4, "at words", [330, "limit 330"]),
    ("starts that all found it", 2, "at words", [200, "median"]),
    ("timing", 0, "rpm below above", [1000, -0.1, -0.1, 2000, 1.5, 2.5]),
    ("timing", 1, "rpm error", [1000, -0.1, 2000, 2]),
    ("timing", 2, "rpm error", [0, 1, 2100, 1 - 6 * 2100 * 20e-6]),
    ("shrinking", 0, "n changes what", [1, 900, "it fails alike", 2, 0, "it does not"]),
    ("margins", 0, "value low high", [80, 60, 100, -80, -100, -60]),
    ("margins", 1, "value", [80, -80, -100]),
]


@pytest.mark.parametrize(("name", "layer", "fields", "figures"), FIGURES)
def test_what_stands_where(name, layer, fields, figures):
    (picture,) = pictures([SAMPLES[name]])
    values = picture.spec["layer"][layer]["data"]["values"]
    drawn = [value[field] for value in values for field in fields.split()]
    assert drawn == pytest.approx(figures)


def test_a_threshold_that_is_failed_below_is_drawn_falling():
    (picture,) = pictures([SAMPLES["gradual threshold"]])
    points = picture.spec["layer"][1]["data"]["values"]
    assert (points[0]["y"], points[-1]["y"]) == pytest.approx((1, 0), abs=1e-6)
    middle = [point["y"] for point in points if point["x"] == 7398]
    assert middle == pytest.approx([0.5] * len(middle))


def test_a_turn_that_all_are_out_by_is_taken_off_and_said_to_be():
    def drawn(turn):
        rows = [{"line": "c", "rpm": 1000.0, "error_deg": error} for error in (-359.0, 1.5, 358.0)]
        evidence = {"kind": "timing", "rows": rows, "ignition": {"turn": turn}}
        (picture,) = pictures([evidence])
        errors = [value["error"] for value in picture.spec["layer"][1]["data"]["values"]]
        return errors, "is taken off" in picture.note

    assert drawn("wrong") == ([1.0, 1.5, -2.0], True)
    assert drawn("unclear") == ([-359.0, 1.5, 358.0], False)


def envelope(coarse):
    """What `edgewheel envelope` writes of a map that holds below a slanted line."""
    border = Border(3, coarse)
    while points := border.pending():
        for column, row in points:
            border.tell((column, row), 2 * row + column < 11)
    trials = [
        {"x": 1000 + 500 * column, "y": 0.1 * row, "synced": inside}
        for (column, row), inside in border.known.items()
    ]
    return border, {
        "kind": "envelope", "steps": border.size, "area_in_sync": border.area(), "trials": trials,
        "x": {"address": "speed", "from": 1000, "to": 5000},
        "y": {"address": "depth", "from": 0.0, "to": 0.8},
    }  # fmt: skip


@pytest.mark.parametrize("coarse", [0, 1, 3])
def test_the_map_of_an_envelope_follows_from_its_trials(coarse):
    border, evidence = envelope(coarse)
    again = border_of(evidence)
    assert again.known == border.known
    assert again.area() == border.area()
    (picture,) = pictures([evidence])
    squares, trials = picture.spec["layer"]
    assert len(squares["data"]["values"]) == len(border.squares)
    assert len(trials["data"]["values"]) == len(border.known) == len(picture.table.rows)
    static_svg(picture.spec)


def test_trials_that_are_no_map_are_drawn_without_one():
    _, evidence = envelope(1)
    evidence["trials"] = evidence["trials"][:5]
    assert border_of(evidence) is None
    (picture,) = pictures([evidence])
    assert len(picture.spec["layer"]) == 1


def test_a_threshold_of_a_tenth_has_a_tenth_of_failures_there():
    evidence = {**SAMPLES["gradual threshold"], "probability": 0.1, "fails": "above"}
    (picture,) = pictures([evidence])
    curve = picture.spec["layer"][1]["data"]["values"]
    at = min(curve, key=lambda point: abs(point["x"] - evidence["threshold"]))
    assert at["y"] == pytest.approx(0.1, abs=0.01)


def test_margins_are_positive_inside_whatever_the_sign_of_the_limit():
    def margin(value, limit, sense):
        test = {"title": "x", "grade": "passed", "value": value, "low": value, "high": value}
        tests = [test | {"limit": limit, "sense": sense, "told": ""}] * 2
        (picture,) = pictures([{"kind": "margins", "tests": tests}])
        return picture.spec["layer"][1]["data"]["values"][0]["value"]

    assert margin(6.0, 5.0, "at_least") == pytest.approx(20)
    assert margin(6.0, 5.0, "at_most") == pytest.approx(-20)
    assert margin(-18.0, -15.0, "at_most") == pytest.approx(20)
    assert margin(-18.0, -15.0, "at_least") == pytest.approx(-20)
    assert margin(90.0, 5.0, "at_least") == 100


def test_points_are_judged_by_the_limit_and_those_that_never_ended_are_counted():
    ended = [{"x": 1.0, "y": y, "passed": True} for y in (5.0, 7.0, 9.0)]
    points = [*ended, {"x": 2.0, "y": None, "passed": False}]
    axes = {"x": {"name": "time into the dwell", "unit": "ms"}, "y": {"name": "teeth until right",
            "unit": "teeth"}}  # fmt: skip
    evidence = {"kind": "points", "points": points, **axes}

    def verdicts(**limit):
        (picture,) = pictures([{**evidence, **limit}])
        assert picture.table.head[:2] == ("time into the dwell, ms", "teeth until right")
        assert "1 trial without an end" in picture.note
        return [row[2] for row in picture.table.rows]

    within, beyond = "within the limit", "beyond it"
    assert verdicts(limit=7.0, sense="at_most") == [within, within, beyond]
    assert verdicts(limit=7.0, sense="at_least") == [beyond, within, within]
    assert verdicts() == ["passed"] * 3


def test_a_few_tests_need_no_overview():
    assert pictures([{"kind": "margins", "tests": SAMPLES["margins"]["tests"][:1]}]) == []


def test_words_are_told_and_a_waveform_says_why():
    assert words([{"kind": "words", "words": ["a", "b"]}, WAVEFORM]) == ["a", "b"]
    (told,) = why([WAVEFORM])
    assert told == (
        "In the last 11 ms before the loss the signal was misread: "
        "2 times an edge was counted twice."
    )
    assert why([{**WAVEFORM, "marked": []}]) == []


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [(5884.76, 5, "5,884.8"), (200000.0, 5, "200,000"), (0.000064, 4, "0.000064"),
     (-0.5, 3, "\N{MINUS SIGN}0.5"), (0.0, 5, "0"), (100, 5, "100"),
     (1e-12, 2, "0.000000000001")],
)  # fmt: skip
def test_numbers_are_written_as_people_write_them(value, digits, text):
    assert number(value, digits) == text

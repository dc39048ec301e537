from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewheel.errors import FileError
from edgewheel.yamlfile import LARGEST_YAML_BYTES, Node, load, parse, parse_number


def value(text: str) -> Node:
    """The node at key `v`, on line 2."""
    return parse(f"# a comment\nv: {text}\n", "f.yaml").section().required("v")


def complaint(text: str, take) -> FileError:
    with pytest.raises(FileError) as caught:
        take(value(text))
    assert caught.value.place.line == 2
    assert caught.value.place.key.startswith("v")
    return caught.value


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("7", Fraction(7)),
        ("-7", Fraction(-7)),
        ("+7", Fraction(7)),
        ("0.1", Fraction(1, 10)),
        (".5", Fraction(1, 2)),
        ("5.", Fraction(5)),
        ("1e3", Fraction(1000)),
        ("2.5E-3", Fraction(1, 400)),
        ("1_000", Fraction(1000)),
        ("360/7", Fraction(360, 7)),
        ("-1 / 3", Fraction(-1, 3)),
        ("010", Fraction(10)),
    ],
)
def test_numbers_are_exact(text: str, number: Fraction):
    assert parse_number(text) == number
    assert value(text).number() == number


@pytest.mark.parametrize(
    "text",
    ["", "x", "nan", ".nan", "inf", "-.inf", "0x10", "1/0", "1.5/2", "1e999", "1 2", "9" * 41],
)
def test_what_is_no_number(text: str):
    assert parse_number(text) is None


@given(
    st.decimals(
        allow_nan=False, allow_infinity=False, places=6, min_value=-(10**9), max_value=10**9
    )
)
def test_decimals_survive_the_file(decimal):
    assert value(str(decimal)).number() == Fraction(decimal)


@given(st.text(max_size=60))
def test_any_text_is_a_tree_or_one_sentence(text: str):
    try:
        assert isinstance(parse(text, "f.yaml"), Node)
    except FileError as error:
        assert str(error).startswith("f.yaml")


def test_bounds_say_what_would_be_right():
    assert "at least 3" in complaint("2", lambda node: node.number(3)).remedy
    assert "at most 3" in complaint("4", lambda node: node.number(0, 3)).remedy
    assert "more than 3" in complaint("3", lambda node: node.number(above=3)).remedy
    assert "less than 3" in complaint("3", lambda node: node.number(below=3)).remedy
    assert value("3").number(3, 3) == 3


def test_integer():
    assert value("4.0").integer() == 4
    assert "whole" in complaint("4.5", Node.integer).problem


def test_choice_names_the_nearest():
    assert value("crank").choice(("crank", "cam")) == "crank"
    assert "'crank'" in complaint("crnak", lambda node: node.choice(("crank", "cam"))).remedy
    assert "one of: cam, crank" in complaint("x", lambda n: n.choice(("crank", "cam"))).remedy


@pytest.mark.parametrize("word", ["true", "yes", "on", "True"])
def test_flag_true(word: str):
    assert value(word).flag() is True


def test_flag_refuses_numbers():
    assert "true or false" in complaint("1", Node.flag).remedy


def test_every_kind_refuses_the_others():
    assert "a list stands here" in complaint("[1]", Node.section).problem
    assert "a mapping stands here" in complaint("{a: 1}", Node.items).problem
    assert "nothing stands here" in complaint("", Node.text).problem
    assert "nothing stands here" in complaint("~", Node.text).problem
    assert "a list is not a number" in complaint("[1]", Node.number).problem


def test_section_refuses_what_nobody_asked_for():
    section = value("{delay: 1, deply: 2}").section()
    section.required("delay")
    with pytest.raises(FileError, match="'deply' is not known here") as caught:
        section.finish()
    assert caught.value.place.key == "v.deply"
    assert "'delay'" in caught.value.remedy
    comma = value("{delay: 1,5}").section()
    comma.required("delay")
    with pytest.raises(FileError, match=r"1\.5, not 1,5"):
        comma.finish()


def test_missing_key_asks_for_its_misspelling():
    with pytest.raises(FileError, match="'delay' is missing") as caught:
        value("{deply: 2}").section().required("delay")
    assert "'deply'" in caught.value.remedy


def test_lines_and_keys_in_depth():
    root = parse("faults:\n  worn:\n    - {by: 1}\n    - {by: 2}\n", "f.yaml")
    worn = root.section().required("faults").section().required("worn").items()
    place = worn[1].section().required("by").place
    assert str(place) == "f.yaml:4: faults.worn[1].by"


def test_with_value_changes_one_number_and_nothing_else():
    root = parse("faults: {worn: {delay: 1, by: 2}}\n", "f.yaml")
    changed = root.with_value("faults.worn.delay", "0.5")
    worn = changed.section().required("faults").section().required("worn").section()
    assert worn.required("delay").number() == Fraction(1, 2)
    assert worn.required("by").number() == 2
    untouched = root.section().required("faults").section().required("worn").section()
    assert untouched.required("delay").number() == 1


def test_with_value_names_the_nearest_key():
    root = parse("faults: {worn: {delay: 1}}\n", "f.yaml")
    with pytest.raises(FileError, match="'dealy' is missing") as caught:
        root.with_value("faults.worn.dealy", "2")
    assert "Is 'delay' meant for it? An address names what the file says" in caught.value.remedy
    with pytest.raises(FileError, match="no single value"):
        root.with_value("faults.worn", "2")


def test_bomb_of_anchors_is_refused_before_it_grows():
    bomb = "a: &a [x, x]\n" + "".join(f"b{n}: &b{n} [*a, *a]\n" for n in range(50))
    with pytest.raises(FileError, match="anchors"):
        parse(bomb, "f.yaml")


def test_deep_nesting_is_refused_at_once():
    with pytest.raises(FileError, match="nested too deep"):
        parse("[" * 100_000, "f.yaml")
    assert parse("[" * 40 + "]" * 40, "f.yaml")


def test_files_that_cannot_be_read(tmp_path: Path):
    with pytest.raises(FileError, match="no such file"):
        load(tmp_path / "none.yaml")
    with pytest.raises(FileError, match="cannot be read"):
        load(tmp_path)
    binary = tmp_path / "binary.yaml"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(FileError, match="not text"):
        load(binary)
    large = tmp_path / "large.yaml"
    large.write_text("# " + "x" * LARGEST_YAML_BYTES)
    with pytest.raises(FileError, match=r"too large[^*]*at most 0\.2 MB"):
        load(large)

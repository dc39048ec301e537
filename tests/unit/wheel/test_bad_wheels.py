"""Wrong wheel files: each gives one sentence with file, line, key, what is wrong, what is right."""

import pytest

from edgewheel.errors import FileError
from edgewheel.wheel.loader import parse_wheel


def head(**changed: str | None) -> str:
    keys = {"format": "1", "name": "bad", "period": "720", **changed}
    return "".join(f"{key}: {value}\n" for key, value in keys.items() if value is not None)


def tracks(text: str, **changed: str | None) -> str:
    """The tracks begin on line 5 when no key of the head is left out."""
    return head(**changed) + "tracks:\n" + text


def teeth(text: str, shaft: str = "crank") -> str:
    """The teeth stand on line 7."""
    return tracks(f"  t:\n    shaft: {shaft}\n    teeth: {text}\n")


def sensor(text: str) -> str:
    """The sensor stands on line 7."""
    return tracks(f"  t:\n    shaft: crank\n    sensor: {text}\n    teeth: {{pitches: 4}}\n")


def tdc(text: str, period: str = "720") -> str:
    """The TDC marks stand on line 8."""
    track = "  t:\n    shaft: crank\n    teeth: {pitches: 4}\n"
    return tracks(track, period=period) + f"tdc: {text}\n"


GOOD_TRACK = "  t: {shaft: crank, teeth: {pitches: 4}}\n"
NINE_TRACKS = "".join(f"  t{n}: {{shaft: crank, teeth: [[{n}, 99]]}}\n" for n in range(9))
BOMB = "a: &a [x, x]\nb: &b [*a, *a]\nc: [*b, *b]\n"

CASES = {
    # the file as such
    "empty": ("", 0, "", "empty", "format: 1"),
    "only a comment": ("# a wheel\n", 0, "", "empty", "format: 1"),
    "a list": ("- 1\n- 2\n", 1, "", "a list stands here", "keys and values"),
    "a word": ("wheel\n", 1, "", "'wheel' stands here", "keys and values"),
    "unclosed bracket": (head() + "tracks: {t: [1, 2\n", 5, "", "not YAML", "brackets"),
    "tab as indentation": (head() + "tracks:\n\tt: 1\n", 5, "", "not YAML", "indentation"),
    "two documents": (head() + "---\n" + head(), 4, "", "not YAML", ""),
    "control character": ("format: \x01\n", 0, "", "not text", "UTF-8"),
    "bomb of aliases": (head() + BOMB, 4, "", "anchors and aliases", "out"),
    "anchor alone": (head(name="&n bad") + "tracks:\n", 2, "", "anchors", "out"),
    "python tag": (head(name="!!python/object:os.system x"), 2, "name", "tag", "Remove"),
    "own tag": (head(name="!wheel x"), 2, "name", "tag", "Remove"),
    "key twice": (head() + "period: 360\n", 4, "", "'period' stands twice", "Keep one"),
    "track twice": (tracks(GOOD_TRACK * 2), 6, "tracks", "'t' stands twice", "Keep one"),
    "teeth twice": (teeth("[[1, 2]]\n    teeth: [[3, 4]]"), 8, "tracks.t", "twice", "Keep"),
    "a list as key": ("[1, 2]: 3\n", 1, "", "key must be a plain word", "key: value"),
    "nested without end": ("a: " + "[" * 99_000, 1, "", "nested too deep", "brackets"),
    # the head
    "no format": (tracks(GOOD_TRACK, format=None), 1, "", "'format' is missing", "Add 'format:'"),
    "later format": (head(format="2"), 1, "format", "format 2", "format: 1"),
    "format a word": (head(format="one"), 1, "format", "not a number", "integer"),
    "format empty": (head(format=""), 1, "format", "nothing is not a number", "integer"),
    "no name": (tracks(GOOD_TRACK, name=None), 1, "", "'name' is missing", "Add 'name:'"),
    "empty name": (tracks(GOOD_TRACK, name="''"), 2, "name", "nothing stands here", "text"),
    "name a list": (tracks(GOOD_TRACK, name="[a]"), 2, "name", "a list stands here", "text"),
    "no period": (tracks(GOOD_TRACK, period=None), 1, "", "'period' is missing", "Add"),
    "zero period": (tracks(GOOD_TRACK, period="0"), 3, "period", "'0'", "360, 720"),
    "negative period": (tracks(GOOD_TRACK, period="-720"), 3, "period", "-720", "720"),
    "period 180": (tracks(GOOD_TRACK, period="180"), 3, "period", "180", "360, 720"),
    "period not a number": (tracks(GOOD_TRACK, period=".nan"), 3, "period", ".nan", "360"),
    "unknown key": (head() + "trakcs: {}\n", 1, "", "'tracks' is missing", "trakcs"),
    "unknown key beside": (tracks(GOOD_TRACK) + "tdcs: 3\n", 6, "tdcs", "not known", "'tdc'"),
    # tracks
    "no tracks": (head(), 1, "", "'tracks' is missing", "Add"),
    "no track in tracks": (head() + "tracks: {}\n", 4, "tracks", "0 tracks", "1 to 8"),
    "tracks empty": (head() + "tracks:\n", 4, "tracks", "nothing stands", "keys and values"),
    "tracks a list": (head() + "tracks: [a]\n", 4, "tracks", "a list", "keys and values"),
    "nine tracks": (tracks(NINE_TRACKS), 4, "tracks", "9 tracks", "8"),
    "name of a track": (tracks("  Crank 1: {}\n"), 5, "tracks.Crank 1", "'Crank 1'", "letters"),
    "track empty": (tracks("  t:\n"), 5, "tracks.t", "nothing stands", "keys"),
    "no shaft": (tracks("  t: {teeth: [[1, 2]]}\n"), 5, "tracks.t", "'shaft'", "Add"),
    "unknown shaft": (
        teeth("[[1, 2]]", "camshaft"),
        6,
        "tracks.t.shaft",
        "'camshaft'",
        "cam, crank",
    ),
    "no teeth": (tracks("  t: {shaft: cam}\n"), 5, "tracks.t", "'teeth' is missing", "Add"),
    "teeth misspelt": (tracks("  t: {shaft: cam, teath: 1}\n"), 5, "tracks.t", "teeth", "teath"),
    "track key unknown": (
        tracks("  t: {shaft: cam, teeth: [[1, 2]], senser: 1}\n"),
        5,
        "tracks.t.senser",
        "'senser'",
        "'sensor'",
    ),
    "cam in a two-stroke": (
        tracks("  c: {shaft: cam, teeth: [[1, 2]]}\n", period="360"),
        5,
        "tracks.c.shaft",
        "the period is 360",
        "two-stroke's cam turns with the crank",
    ),
    # teeth by pitches
    "teeth a number": (teeth("60"), 7, "tracks.t.teeth", "'60' stands here", "keys"),
    "teeth empty list": (teeth("[]"), 7, "tracks.t.teeth", "no tooth", "at least one"),
    "teeth without pitches": (teeth("{missing: 2}"), 7, "tracks.t.teeth", "neither", "pitches"),
    "pitches and spans": (
        teeth("{pitches: 2, spans: [180, 180]}"),
        7,
        "tracks.t.teeth.spans",
        "both",
        "Keep one",
    ),
    "no pitches": (teeth("{pitches: 0}"), 7, "tracks.t.teeth.pitches", "small", "at least 1"),
    "half a pitch": (teeth("{pitches: 1.5}"), 7, "tracks.t.teeth.pitches", "whole", "whole"),
    "a million teeth": (teeth("{pitches: 1000000}"), 7, "tracks.t.teeth.pitches", "large", "3600"),
    "one pitch too many": (teeth("{pitches: 3601}"), 7, "tracks.t.teeth.pitches", "large", "3600"),
    "pitches infinite": (teeth("{pitches: .inf}"), 7, "tracks.t.teeth.pitches", "number", "integ"),
    "pitches not a number": (teeth("{pitches: NaN}"), 7, "tracks.t.teeth.pitches", "'NaN'", "int"),
    "number too long": (teeth("{pitches: " + "9" * 99 + "}"), 7, "tracks.t.teeth.pitches", "9", ""),
    "missing beyond": (
        teeth("{pitches: 60, missing: [59, 61]}"),
        7,
        "tracks.t.teeth.missing[1]",
        "tooth 61 cannot be missing: there are 60 pitches",
        "1 to 60",
    ),
    "missing number zero": (
        teeth("{pitches: 60, missing: [0]}"),
        7,
        "tracks.t.teeth.missing[0]",
        "0 is too small",
        "at least 1",
    ),
    "missing twice": (
        teeth("{pitches: 60, missing: [60, 60]}"),
        7,
        "tracks.t.teeth.missing[1]",
        "missing twice",
        "once",
    ),
    "all missing": (teeth("{pitches: 4, missing: 4}"), 7, "tracks.t.teeth.missing", "large", "3"),
    "all listed": (teeth("{pitches: 1, missing: [1]}"), 7, "tracks.t.teeth", "no tooth", "one"),
    "less than none missing": (
        teeth("{pitches: 60, missing: -1}"),
        7,
        "tracks.t.teeth.missing",
        "-1 is too small",
        "at least 0",
    ),
    "width of a pitch": (teeth("{pitches: 4, width: 1}"), 7, "tracks.t.teeth.width", "1", "than 1"),
    "no width": (teeth("{pitches: 4, width: 0}"), 7, "tracks.t.teeth.width", "0", "more than 0"),
    "width by zero": (teeth('{pitches: 4, width: "1/0"}'), 7, "tracks.t.teeth.width", "1/0", "int"),
    "offset of two turns": (
        teeth("{pitches: 4, offset: 720}"),
        7,
        "tracks.t.teeth.offset",
        "too large",
        "at most 360",
    ),
    "pitch misspelt": (teeth("{pitchs: 4}"), 7, "tracks.t.teeth.pitchs", "not known", "'pitches'"),
    "too fine a tooth": (
        teeth("{pitches: 60, width: 1/10000}"),
        7,
        "tracks.t.teeth",
        "tooth 1: it is too narrow",
        "0.001",
    ),
    # teeth by pairs
    "to before from": (
        teeth("\n      - [10, 20]\n      - [50, 40]"),
        9,
        "tracks.t.teeth[1]",
        "'to' is not after 'from': 40",
        "[50, 400]",
    ),
    "to at from": (teeth("[[10, 10]]"), 7, "tracks.t.teeth[0]", "not after", "smaller angle"),
    "to below zero": (teeth("[[10, -10]]"), 7, "tracks.t.teeth[0]", "not after", "smaller angle"),
    "one number": (teeth("[[10]]"), 7, "tracks.t.teeth[0]", "1 numbers", "[from, to]"),
    "three numbers": (teeth("[[1, 2, 3]]"), 7, "tracks.t.teeth[0]", "3 numbers", "[from, to]"),
    "flat list": (teeth("[10, 20]"), 7, "tracks.t.teeth[0]", "'10' stands here", "list"),
    "from below zero": (teeth("[[-5, 5]]"), 7, "tracks.t.teeth[0][0]", "too small", "at least 0"),
    "from beyond the turn": (
        teeth("[[400, 420]]", "cam"),
        7,
        "tracks.t.teeth[0]",
        "cannot begin at 400",
        "degrees of the track's own shaft",
    ),
    "longer than a turn": (teeth("[[0, 360]]"), 7, "tracks.t.teeth[0]", "360 degrees long", "air"),
    "angle a word": (teeth("[[ten, 20]]"), 7, "tracks.t.teeth[0][0]", "'ten'", "integer"),
    "overlap": (
        teeth("\n      - [10, 30]\n      - [20, 40]"),
        9,
        "tracks.t.teeth[1]",
        "the tooth from 10 and the tooth from 20 overlap",
        "apart",
    ),
    "overlap across the turn": (
        teeth("\n      - [5, 30]\n      - [350, 366]"),
        9,
        "tracks.t.teeth[1]",
        "the tooth from 350 and the tooth from 5 overlap",
        "apart",
    ),
    "touching": (teeth("[[10, 20], [20, 30]]"), 7, "tracks.t.teeth[1]", "touch", "one tooth"),
    "extra onto a tooth": (
        teeth("\n      pitches: 12\n      extra:\n        - [31, 32]"),
        10,
        "tracks.t.teeth.extra[0]",
        "tooth 2 and the tooth from 31 overlap",
        "apart",
    ),
    "too many pairs": (
        teeth("[" + "[1, 2], " * 3601 + "]"),
        7,
        "tracks.t.teeth",
        "3601 entries",
        "at most 3600",
    ),
    # teeth by spans
    "spans short of a turn": (
        teeth("{spans: [100, 100, 100, 50]}"),
        7,
        "tracks.t.teeth.spans",
        "add up to 350 degrees, not 360",
        "one turn is 360",
    ),
    "spans in crank degrees on a cam": (
        teeth("{spans: [360, 360]}", "cam"),
        7,
        "tracks.t.teeth.spans",
        "add up to 720",
        "degrees of the track's own shaft",
    ),
    "spans nearly a turn": (
        teeth("{spans: [120.0001, 239.9998]}"),
        7,
        "tracks.t.teeth.spans",
        "359.9999",
        "exact",
    ),
    "odd spans": (teeth("{spans: [120, 120, 120]}"), 7, "tracks.t.teeth.spans", "3", "even"),
    "no spans": (teeth("{spans: []}"), 7, "tracks.t.teeth.spans", "0 spans", "even"),
    "span of nothing": (teeth("{spans: [360, 0]}"), 7, "tracks.t.teeth.spans[1]", "small", "than"),
    "missing spans": (
        teeth("{spans: [180, 180], missing: 2}"),
        7,
        "tracks.t.teeth.missing",
        "with 'pitches' only",
        "Leave it out",
    ),
    # sensors
    "sensor a word": (sensor("hall"), 7, "tracks.t.sensor", "'hall' stands here", "keys"),
    "unknown kind": (sensor("{kind: halls}"), 7, "tracks.t.sensor.kind", "'halls'", "'hall'"),
    "unknown level": (sensor("{metal: up}"), 7, "tracks.t.sensor.metal", "'up'", "high"),
    "direction of a VR sensor": (
        sensor("{kind: vr, direction: {forward_us: 45, reverse_us: 90}}"),
        7,
        "tracks.t.sensor.direction",
        "cannot tell",
        "hall",
    ),
    "one pulse width": (
        sensor("{direction: {forward_us: 45}}"),
        7,
        "tracks.t.sensor.direction",
        "'reverse_us' is missing",
        "Add",
    ),
    "equal pulses": (
        sensor("{direction: {forward_us: 45, reverse_us: 45.0}}"),
        7,
        "tracks.t.sensor.direction.reverse_us",
        "equally long",
        "different",
    ),
    "pulse of no length": (
        sensor("{direction: {forward_us: 0, reverse_us: 45}}"),
        7,
        "tracks.t.sensor.direction.forward_us",
        "small",
        "more than 0",
    ),
    # TDC and firing order
    "tdc a number": (tdc("84"), 8, "tdc", "'84' stands here", "keys"),
    "tdc empty": (tdc("{}"), 8, "tdc", "no cylinder", "leave it out"),
    "tdc at the period": (tdc("{1: 720}"), 8, "tdc.1", "too large", "less than 720"),
    "tdc beyond a two-stroke": (tdc("{1: 400}", "360"), 8, "tdc.1", "too large", "than 360"),
    "tdc below zero": (tdc("{1: -10}"), 8, "tdc.1", "too small", "at least 0"),
    "cylinder zero": (tdc("{0: 10}"), 8, "tdc.0", "'0' is not a cylinder", "1 to 24"),
    "cylinder a letter": (tdc("{A: 10}"), 8, "tdc.A", "'A' is not a cylinder", "1 to 24"),
    "cylinder 25": (tdc("{25: 10}"), 8, "tdc.25", "'25' is not a cylinder", "1 to 24"),
    "cylinder twice": (tdc("{1: 10, 1: 20}"), 8, "tdc", "'1' stands twice", "Keep one"),
    "cylinder twice in disguise": (tdc("{1: 10, 01: 20}"), 8, "tdc.01", "twice", "Keep one"),
    "cylinder left out": (tdc("{1: 0, 3: 360}"), 8, "tdc", "cylinder 2 is missing", "1 to 2"),
    "same tdc": (tdc("{1: 10, 2: 10}"), 8, "tdc.2", "same TDC", "period: 720"),
    "firing order": (
        tdc("{1: 84, 3: 264, 2: 624, 4: 444}"),
        8,
        "tdc",
        "cylinder 4 stands after 2, but its angle is smaller",
        "{1: 84, 3: 264, 4: 444, 2: 624}",
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_wrong_wheel_gives_one_sentence(name: str):
    text, line, key, problem, remedy = CASES[name]
    with pytest.raises(FileError) as caught:
        parse_wheel(text, "bad.yaml")
    error = caught.value
    assert (error.place.file, error.place.line, error.place.key) == ("bad.yaml", line, key)
    assert problem in error.problem
    assert remedy in error.remedy
    assert error.exit_code == 2
    assert len(str(error)) < 400


def test_there_are_enough_of_them():
    assert len(CASES) >= 60

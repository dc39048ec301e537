"""The `faults:` of a bench file: what may stand there, and what wrong ones are told."""

from fractions import Fraction

import pytest

from edgewheel.errors import FileError
from edgewheel.fault.examples import WORDS, example_wheel
from edgewheel.fault.kinds import KINDS
from edgewheel.fault.lines import LostTrack
from edgewheel.fault.loader import read_faults
from edgewheel.fault.repetition import Repetition
from edgewheel.fault.window import Window
from edgewheel.wheel.model import Wheel
from edgewheel.yamlfile import parse


def read(text: str, wheel: Wheel | None = None):
    wheel = wheel or example_wheel("bounce")
    sensors = [track.sensor for track in wheel.tracks]
    return read_faults(parse(text, "bench.yaml"), wheel, sensors)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_read_with_an_example(kind):
    faults = read(f"{{one: {{kind: {kind}, {WORDS[kind]}}}}}", example_wheel(kind))
    assert isinstance(faults["one"], KINDS[kind])


def test_window_and_repetition_stand_beside_the_fault_s_own_keys():
    fault = read(
        "worn: {kind: bounce, track: crank, delay_us: 30, width_us: 4, from_s: 1.5, to_turn: 90, "
        "from_rpm: 800, to_rpm: 900, teeth: [3, 5], every: 2, chance: 1/4}"
    )["worn"]
    assert fault.window == Window(
        from_s=Fraction(3, 2), to_turn=Fraction(90), from_rpm=Fraction(800), to_rpm=Fraction(900)
    )
    assert fault.repetition == Repetition((3, 5), 2, Fraction(1, 4))


def test_a_fault_that_is_off_is_left_out_but_still_read():
    assert read("a: {kind: polarity, track: crank, off: true}") == {}
    with pytest.raises(FileError, match="'crnk'"):
        read("a: {kind: polarity, track: crnk, off: true}")


@pytest.mark.parametrize(
    ("address", "value"),
    [("faults.a.from_s", "2"), ("faults.a.shows", "low"), ("faults.a.to_turn", "7/2")],
)
def test_every_number_has_an_address(address, value):
    text = "faults: {a: {kind: lost, track: cam, shows: high, from_s: 1, to_turn: 3}}"
    changed = parse(text, "bench.yaml").with_value(address, value)
    wheel = example_wheel("lost")
    sensors = [track.sensor for track in wheel.tracks]
    before = read("a: {kind: lost, track: cam, shows: high, from_s: 1, to_turn: 3}")["a"]
    after = read_faults(changed.section().required("faults"), wheel, sensors)["a"]
    assert isinstance(after, LostTrack) and after != before


BOUNCE = "kind: bounce, track: crank, delay_us: 30, width_us: 4"
WRONG = {
    "a: {kind: bouncing}": ("'bouncing' is not known here", "'bounce', if that is what is meant"),
    "a: {track: crank}": ("'kind' is missing", "Add 'kind:'"),
    "a: 3": ("'3' stands here", "Write keys and values below it"),
    "a: {kind: bounce, track: krank, width_us: 4, delay_us: 3}": ("'krank'", "'crank'"),
    "a: {kind: bounce, track: crank, widht_us: 4, delay_us: 3}": (
        "'width_us' is missing", "Is 'widht_us' meant"),
    f"a: {{{BOUNCE}, delay: 3}}": ("'delay' is not known here", "'delay_us'"),
    f"a: {{{BOUNCE}, delay_percent: 5}}": ("not clear", "exactly one of delay_us"),
    "a: {kind: bounce, track: crank, width_us: 4}": ("not clear", "exactly one of delay_us"),
    "a: {kind: bounce, track: crank, width_us: 9, delay_us: 5, count: 2}": (
        "overlap", "width_us less than delay_us"),
    f"a: {{{BOUNCE}, count: 0}}": ("0 is too small", "at least 1"),
    f"a: {{{BOUNCE}, count: 2.5}}": ("2.5 is not a whole number", "whole number"),
    f"a: {{{BOUNCE}, after: raise}}": ("'raise' is not known", "'rise'"),
    f"a: {{{BOUNCE}, teeth: [12]}}": ("track 'crank' has no tooth 12", "1 to 11"),
    f"a: {{{BOUNCE}, teeth: 3}}": ("'3' stands here", "Write a list"),
    f"a: {{{BOUNCE}, teeth: []}}": ("nothing is listed", "at least one tooth"),
    f"a: {{{BOUNCE}, teeth: [3, 3]}}": ("tooth 3 stands twice", "Name it once"),
    f"a: {{{BOUNCE}, chance: 0}}": ("0 is too small", "more than 0"),
    f"a: {{{BOUNCE}, chance: 2}}": ("2 is too large", "at most 1"),
    f"a: {{{BOUNCE}, every: 0}}": ("0 is too small", "at least 1"),
    f"a: {{{BOUNCE}, from_s: 3, to_s: 2}}": ("to_s is not above from_s", "smaller number first"),
    f"a: {{{BOUNCE}, from_turn: 2, to_turn: 2}}": ("to_turn is not above", "smaller"),
    f"a: {{{BOUNCE}, from_rpm: 900, to_rpm: 800}}": ("to_rpm is not above", "smaller"),
    f"a: {{{BOUNCE}, from_s: -1}}": ("-1 is too small", "at least 0"),
    f"a: {{{BOUNCE}, from_rmp: 1}}": ("'from_rmp' is not known", "'from_rpm'"),
    f"a: {{{BOUNCE}, off: perhaps}}": ("'perhaps' is not yes or no", "true or false"),
    "a: {kind: jitter, track: crank}": ("how far it jitters", "exactly one of us and deg"),
    "a: {kind: jitter, track: crank, us: abc}": ("'abc' is not a number", "an integer"),
    "a: {kind: late_tooth, track: crank, us: 3, deg: 4}": ("how late it is", "exactly one"),
    "a: {kind: noise, tracks: crank, width_us: 3, bursts_per_s: 3}": (
        "'crank' stands here", "Write a list"),
    "a: {kind: noise, tracks: [crank], width_us: 3}": ("when the noise comes", "exactly one"),
    "a: {kind: noise, tracks: [crank], width_us: 90, pulses: 90, bursts_per_s: 900}": (
        "would overlap", "fewer bursts_per_s"),
    "a: {kind: loose, track: crank, lasts_ms: 3}": ("when the contact opens", "breaks_per_s"),
    "a: {kind: loose, track: crank, lasts_ms: 30, breaks_per_s: 90}": ("never close", "fewer"),
    "a: {kind: lost, track: cam, shows: hgih}": ("'hgih' is not known", "'high'"),
    "a: {kind: swapped, track: cam, other: cam}": ("swapped with itself", "two tracks"),
    "a: {kind: missing_tooth, track: crank, teeth: [0]}": ("0 is too small", "at least 1"),
    "a: {kind: bent_tooth, track: crank, by_deg: 3}": ("'teeth' is missing", "Add 'teeth:'"),
    "a: {kind: bent_tooth, track: crank, teeth: [3], by_deg: 3, from_s: 1}": (
        "'from_s' is not known", "by_deg"),
    "a: {kind: worn_teeth, track: crank}": ("nothing is worn", "leading_deg"),
    "a: {kind: eccentric, track: crank, offset_percent: 60}": ("60 is too large", "at most 50"),
    "a: {kind: leads_reversed, track: crank}": ("no VR sensor", "kind: polarity"),
    "a: {kind: false_start, track: crank, teeth: 3.5}": ("not a whole number", "whole"),
    "a: {kind: flips, flips: [[crank, 3]]}": ("2 values cannot be a flip", "from_us, to_us"),
    "a: {kind: flips, flips: [[crank, 3, 2]]}": ("to_us is not after from_us", "earlier"),
    "a: {kind: flips, flips: [[krank, 3, 4]]}": ("'krank'", "'crank'"),
}  # fmt: skip


@pytest.mark.parametrize("text", WRONG)
def test_a_wrong_fault_says_where_what_and_what_instead(text):
    problem, remedy = WRONG[text]
    with pytest.raises(FileError) as caught:
        read(text)
    assert str(caught.value).startswith("bench.yaml:1: a")
    assert problem in caught.value.problem
    assert remedy in caught.value.remedy


def test_noise_of_the_ignition_asks_the_wheel_for_its_tdc():
    wheel = example_wheel("noise")
    bare = Wheel(wheel.name, wheel.summary, wheel.period, wheel.tracks)
    with pytest.raises(FileError, match="does not say where its cylinders ignite"):
        read("a: {kind: noise, tracks: [cam], width_us: 3, ignition_deg: 10}", bare)

"""The signal around a loss in characters."""

from edgewheel.console.runs.signal import Stretch, cells, signal_lines

TOOTH_S = 0.001


def track(name, edges, initial=0):
    return {"name": name, "initial": initial, "edges": [round(edge, 9) for edge in edges]}


def evidence(pin, marked, sound=()):
    return {
        "kind": "waveform",
        "tracks": [pin],
        "sound": list(sound),
        "marked": marked,
        "begin": 1.0,
        "end": 1.06,
        "loss": 1.0505,
        "rpm": 500.0,
        "reason": "no gap",
    }


def teeth(but=()):
    """Thirty teeth of a millisecond, a millisecond apart, without some of them."""
    wanted = [tooth for tooth in range(30) if tooth not in but]
    return [1.0 + (2 * tooth + end) * TOOTH_S for tooth in wanted for end in (0.5, 1.5)]


def test_a_tooth_that_was_missed_stands_below_the_pin_at_its_place():
    mark = {"track": "crank", "seconds": 1.0205, "why": "of the sound wheel was not counted"}
    sound = track("crank", teeth())
    lines = signal_lines(evidence(track("crank", teeth(but=[10])), [mark], [sound]), 38)
    assert lines[0] == "Sync lost at 1.050 s, 500 rpm (it says: no gap)."
    drawn = lines[lines.index("") + 1 :]
    assert drawn[0].startswith("-50.5") and drawn[1].startswith("crank")
    pin, misread, wanted = (line[8:] for line in drawn[1:4])
    assert misread.index("▲") == 20 and (pin[20:22], wanted[20:22]) == ("  ", "▐▌")
    assert pin[:20] == wanted[:20] == "▐▌" * 10
    second = drawn[drawn.index("") + 1 :]
    assert second[0].index("▼") - 8 == 20 and "sound" not in second[2]
    assert lines[-1] == "▲   -30.000 ms  crank: an edge of the sound wheel was not counted"


def test_a_pulse_too_short_for_a_cell_shades_it():
    stretch = Stretch(1.0, TOOTH_S, 4)
    assert cells(track("crank", [1.0021, 1.0023]), stretch) == "  ▒ "
    assert cells(track("crank", [1.0015], initial=1), stretch) == "█▌  "

"""Every key does what the help says, on a bench that is fed by hand."""

import asyncio
from fractions import Fraction

import pytest
from textual.events import Key

from console_kit import console, lines, press, text
from edgewheel.bench.events import Pulsed, RawBytes, Reported, SyncLost
from edgewheel.bench.live.state import FaultState, LastLoss, LivePhase
from edgewheel.console.app import ConsoleApp
from edgewheel.console.keys_page import all_actions
from edgewheel.console.live.faults import FaultsPane

HELD, OFF, ONCE = FaultState.HELD, FaultState.OFF, FaultState.ONCE


def orders_after(*keys, turning=False):
    """The orders that the bench got for some keys."""

    async def scenario():
        async with console() as (app, pilot):
            if turning:
                await press(app, pilot, "f5")
            before = len(app.desk.player.orders)
            await press(app, pilot, *keys)
            return app.desk.player.orders[before:]

    return asyncio.run(scenario())


def screen_after(*keys, size=(80, 24), feed=None):
    """What stands on the screen after some keys."""

    async def scenario():
        async with console(size) as (app, pilot):
            await press(app, pilot, *keys)
            if feed:
                feed(app.desk.player)
                await press(app, pilot)
            return text(app)

    return asyncio.run(scenario())


def test_one_key_turns_the_simulated_engine():
    assert orders_after("f5") == [("start", Fraction(850))]


def test_one_key_parks():
    assert orders_after("f8", "f5", "space", turning=True) == [
        ("park",),
        ("start", Fraction(850)),
        ("park",),
    ]


def test_f8_parks_in_every_dialogue():
    async def scenario():
        async with console() as (app, pilot):
            for opening in ("m", "7", "e", "w", "b", "k", "f1", "slash", "ctrl+p"):
                app.desk.player.orders.clear()
                await press(app, pilot, opening)
                assert app.screen.is_modal or opening == "slash", opening
                await press(app, pilot, "f8")
                assert app.desk.player.orders == [("park",)], opening
                await press(app, pilot, "escape")

    asyncio.run(scenario())


def test_keys_change_the_speed_in_fine_and_coarse_steps():
    keys = ("plus", "minus", "u", "d", "equals_sign")
    speeds = (860, 850, 1100, 850, 860)
    orders = [("speed", Fraction(rpm), None) for rpm in speeds]
    assert orders_after(*keys, turning=True) == orders


def test_a_speed_is_typed_as_a_number():
    assert orders_after(*"3000", "enter", turning=True) == [("speed", Fraction(3000), None)]


@pytest.mark.parametrize(
    ("keys", "rate"),
    [
        ((*"3000", "enter"), None),
        ((*"3005", "backspace", "0", "enter"), None),
        (("m", *"3000", "enter"), Fraction(500)),
        ((*"3000", "tab", *"750", "enter"), Fraction(750)),
    ],
)
def test_a_speed_typed_faster_than_its_dialogue_opens_is_taken_whole(keys, rate):
    """A terminal hands over many keys at once; no part of a number is ever a speed."""

    async def scenario():
        async with console() as (app, pilot):
            await press(app, pilot, "f5")
            before = len(app.desk.player.orders)
            for key in keys:
                app.post_message(Key(key, key if len(key) == 1 else None))
            await pilot.pause(0.3)
            await press(app, pilot)
            assert not app.screen.is_modal
            return app.desk.player.orders[before:]

    assert asyncio.run(scenario()) == [("speed", Fraction(3000), rate)]


def test_a_ramp_has_a_rate():
    keys = ("m", *"2000", "tab", *"750", "enter")
    assert orders_after(*keys, turning=True) == [("speed", Fraction(2000), Fraction(750))]


def test_a_speed_that_cannot_be_is_refused_in_words():
    assert "Write a speed from 0" in screen_after(*"9999999", "enter")


def test_a_speed_typed_while_parked_is_what_the_engine_then_turns_at():
    assert orders_after(*"1200", "enter", "f5") == [("start", Fraction(1200))]


def test_the_armed_fault_fires_once_or_is_held_and_let_go():
    assert orders_after("o", "h", "h", "down", "h") == [
        ("fault", "bounce", ONCE),
        ("fault", "bounce", HELD),
        ("fault", "bounce", OFF),
        ("fault", "extra_pulse", HELD),
    ]


def test_the_numbers_of_a_fault_are_edited_in_a_dialogue():
    keys = ("enter", "tab", "tab", "end", *["backspace"] * 2, *"55", "enter", "escape")
    assert orders_after(*keys) == [("edit", "faults.bounce.delay_us", "55")]


def test_a_number_that_cannot_be_is_refused_and_not_set():
    async def scenario():
        async with console() as (app, pilot):
            await press(app, pilot, "e", "tab", "tab", "end", *"x", "enter")
            assert "is not a number" in text(app)
            assert app.desk.player.orders == []

    asyncio.run(scenario())


def test_active_faults_are_in_sight_on_every_page_and_under_dialogues():
    async def scenario():
        async with console() as (app, pilot):
            await press(app, pilot, "f5", "h")
            for key in ("f2", "f3", "f4", "f2", "w"):
                await press(app, pilot, key)
                assert "faults bounce HELD" in text(app), key

    asyncio.run(scenario())


PLACES = {
    "f": "Faults (f)",
    "c": "Controller (c)",
    "p": "Captured pulses (p)",
    "l": "Raw lines (l)",
    "v": "Events (v)",
    "f3": "Search (s t e d q)",
    "f4": "Runs (r looks again)",
}


def test_panes_and_pages_are_a_key_away():
    async def scenario():
        async with console() as (app, pilot):
            for key, title in PLACES.items():
                await press(app, pilot, key)
                assert title in text(app)

    asyncio.run(scenario())


def test_another_wheel_is_chosen_by_a_part_of_its_name():
    seen = screen_after("w", *"36", "space", *"minus", "space", *"1", "space", *"1", "enter")
    assert "Thirty-six minus one, one" in seen


def test_a_bench_file_that_cannot_be_read_is_said_in_words():
    async def scenario():
        async with console() as (app, pilot):
            app.do(lambda: app.desk.use_wheel("no-such-wheel"))
            await press(app, pilot)
            return [note.message for note in app._notifications]

    assert "There is no wheel 'no-such-wheel'" in asyncio.run(scenario())[0]


def say(bench, *said):
    bench.events += [RawBytes(0, 0.0, f"{line}\r\n".encode()) for line in said]


def test_raw_lines_are_held_still_and_searched():
    async def scenario():
        async with console() as (app, pilot):
            await press(app, pilot, "f5", "l")
            say(app.desk.player, "rpm=850 sync=full", "rpm=851 sync=none")
            await press(app, pilot)
            assert "sync=none" in text(app)
            await press(app, pilot, "s")
            say(app.desk.player, "rpm=852 later")
            await press(app, pilot)
            assert "HELD STILL" in text(app) and "later" not in text(app)
            await press(app, pilot, "s")
            assert "later" in text(app)
            await press(app, pilot, "slash", "[", "enter")
            assert "with '['" in text(app)
            await press(app, pilot, "slash", "ctrl+u", *"none", "enter")
            assert "sync=none" in text(app) and "sync=full" not in text(app)

    asyncio.run(scenario())


def test_a_loss_shows_its_count_time_and_reason():
    def feed(bench):
        bench.be(synced=False, losses=2, last_loss=LastLoss(9.0171, "no gap after tooth 58"))
        bench.events.append(SyncLost(9.0171, 3000, "said", "it reports no sync", "no gap"))

    seen = screen_after("f5", "v", feed=feed)
    assert "✗ NO SYNC   losses 2   last 9.017 s, no gap after tooth 58" in seen
    assert "SYNC LOST: it reports no sync (it says: no gap)" in seen


def test_a_lost_board_shows_as_lost_and_nothing_starts_by_itself():
    async def scenario():
        async with console() as (app, pilot):
            await press(app, pilot, "f5")
            bench = app.desk.player
            why = f"The board at {'/a-long-way' * 4} is gone: plug it in again, then start anew."
            bench.be(phase=LivePhase.LOST, why=why)
            await press(app, pilot)
            top = " ".join(text(app).split())
            assert "✗ BOARD LOST" in top and why in top
            bench.be(phase=LivePhase.PARKED, why="")
            await press(app, pilot)
            assert "■ PARKED" in text(app)
            assert [order[0] for order in bench.orders] == ["start"]

    asyncio.run(scenario())


def test_help_is_for_the_pane_one_is_in_and_names_its_keys():
    seen = screen_after("f1", size=(120, 40))
    assert "The row with the cursor is armed" in seen
    assert "Fire the armed fault once" in seen and "F8" in seen


def test_the_keys_at_the_bottom_fit_80_columns_with_park_first():
    async def scenario():
        async with console() as (app, pilot):
            for page in ("f2", "f3", "f4"):
                await press(app, pilot, page)
                footer = lines(app)[-1]
                assert footer.startswith("F8 PARK F5 Turn F1 Help") and footer.endswith(" ")

    asyncio.run(scenario())


def test_other_keys_can_be_given(tmp_path):
    from edgewheel.console.keys_page import all_ids
    from edgewheel.console.settings import read_settings

    file = tmp_path / "console.yaml"
    file.write_text("keys: {park: f9, fault-once: z}\ntheme: orchard-day\n", encoding="utf-8")

    async def scenario():
        from mock_bench import mock_desk

        app = ConsoleApp(mock_desk, read_settings(file, all_ids), paced=False)
        async with app.run_test(size=(80, 24)) as pilot:
            await press(app, pilot, "f5", "z", "f9")
            assert app.theme == "orchard-day"
            return list(app.desk.player.orders)

    orders = asyncio.run(scenario())
    assert orders == [("start", Fraction(850)), ("fault", "bounce", ONCE), ("park",)]


def test_every_action_has_an_id_of_its_own():
    ids = [action.id for found in all_actions({}).values() for action in found]
    assert len(ids) == len(set(ids)) > 30


def test_a_click_goes_to_a_page_and_the_mouse_arms_a_fault():
    async def scenario():
        async with console() as (app, pilot):
            await pilot.click("#fault-list", offset=(10, 2))
            await press(app, pilot)
            armed = app.page.query_one(FaultsPane).armed
            await pilot.click(".tabs", offset=(13, 0))
            await press(app, pilot)
            return armed, text(app)

    armed, seen = asyncio.run(scenario())
    assert armed == "dropped_tooth"
    assert "Search (s t e d q)" in seen


def test_nothing_grows_without_end_and_hidden_panes_do_no_work():
    async def scenario():
        async with console() as (app, pilot):
            await press(app, pilot, "f5")
            bench, watch = app.desk.player, app.desk.watch
            for second in range(30):
                pulses = [Pulsed(0, second + n / 1000, "coil_1", n % 2) for n in range(1000)]
                bench.events += pulses
                bench.events.append(Reported(0, float(second), "", {"advance": 10.0}))
                say(bench, *(f"line {second} {n}" for n in range(200)))
                await press(app, pilot)
            assert len(watch.lines["coil_1"]) == 4000 and watch.heard == 30 * 1201
            assert len(watch.log.last(99_999)) == 2000
            hidden = app.page.query_one("#lines")
            assert hidden.line_count <= 1
            return lines(app)

    asyncio.run(scenario())

"""The controller's serial port: how often it speaks, what it says, how long the bytes take."""

import pytest

from edgewheel.controller.lines import LineReader
from edgewheel.controller.sim.report import SerialPort
from edgewheel.controller.sim.settings import ReportSettings
from sim_trains import START_TICK, TICK_HZ, WHEELS, run, settings_from, steady, train

SIXTY = WHEELS["60-2 with half-moon cam"]


def test_it_reports_at_its_rate_from_power_up_on():
    result = run(train(SIXTY.pulses, steady(1000), 20), settings_from(SIXTY.settings), rest_s=0.3)
    fields = [LineReader().feed(line, tick)[0].fields for tick, line in result.lines]
    times = [field["t"] for field in fields if field["reason"] == "none"]
    assert times == pytest.approx([0.04 * (k + 1) for k in range(len(times))])


def test_a_line_arrives_when_its_last_stop_bit_has_gone():
    port = SerialPort(ReportSettings(baud=9600), tick_hz=960_000)
    port.send(1000, b"x" * 60)
    assert port.sent(1000 + 60 * 1000 - 1) == ()
    assert port.sent(1000 + 60 * 1000) == ((61_000, b"x" * 60),)


def test_lines_wait_for_the_ones_before_and_what_does_not_fit_is_not_said():
    port = SerialPort(ReportSettings(baud=9600, buffer_bytes=100), tick_hz=960_000)
    for name in (b"a", b"b", b"c"):
        port.send(0, name * 50)
    assert [(tick, line[:1]) for tick, line in port.sent(1 << 40)] == [
        (50_000, b"a"),
        (100_000, b"b"),
    ]


def test_a_baud_rate_too_low_for_the_report_rate_thins_the_reports_out():
    signal = train(SIXTY.pulses, steady(1000), 60)
    slow = settings_from(SIXTY.settings, "report: {rate_hz: 50, baud: 9600}")
    result = run(signal, slow)
    seconds = (signal.ticks[-1] - START_TICK) / TICK_HZ
    sent = sum(len(line) for _, line in result.lines)
    assert sent <= 960 * seconds
    assert sent > 800 * seconds


def test_the_loss_is_reported_at_once_unless_it_is_not_to_be():
    signal = train(SIXTY.pulses, steady(1000), 20)
    for on_loss, late_s in (("true", 0.02), ("false", 0.3)):
        report = f"report: {{rate_hz: 4, on_loss: {on_loss}}}"
        result = run(signal, settings_from(SIXTY.settings, report), rest_s=1.5)
        told = next(report.tick for report in result.reports if report.losses)
        stalled = signal.ticks[-1] - TICK_HZ * 3 // 6000 + TICK_HZ // 2
        assert 0 < told - stalled < late_s * TICK_HZ
        assert (told - stalled < 0.02 * TICK_HZ) == (on_loss == "true")


def test_the_speed_of_an_engine_that_slows_is_no_more_than_the_late_tooth_allows():
    text = SIXTY.settings.replace("stall_ms: 500", "stall_ms: 2000")
    result = run(train(SIXTY.pulses, steady(1000), 5), settings_from(text), rest_s=1.0)
    # the next tooth is due after the gap: 18 degrees in a second are 3 rpm
    assert result.last.rpm == pytest.approx(3.0, abs=0.15)
    assert (result.last.sync, result.last.losses) == ("full", 0)

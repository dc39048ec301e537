"""The doctor on boards that ail: which check fails, and what it says to type."""

import subprocess
import sys

import pytest
from serial.tools import list_ports

from edgewheel.board import doctor as doctor_module
from edgewheel.board.check import Outcome
from edgewheel.board.doctor import Doctor
from edgewheel.board.doctor_link import check_link
from edgewheel.board.doctor_wires import Wire
from edgewheel.board.enquiry import Enquiry
from edgewheel.clock import VirtualClock
from edgewheel.link.messages import Pulses, Status
from edgewheel.link.serial_port import SerialPort
from pty_bench import HZ, Loopback, PtyBench
from usb_stand_in import Board, HurriedClock, usb_port

pytestmark = pytest.mark.realtime

NAMES = ["port", "permission", "free", "answer", "version", "link", "play", "loopback"]
HOLDER = (
    "import serial, sys, time; p = serial.Serial(sys.argv[1]); print(1, flush=True); time.sleep(60)"
)


def examine(port, wires=(), **options):
    checks = list(Doctor(port, wires, **options).checks())
    assert [check.name for check in checks] == NAMES
    return {check.name: check for check in checks}


def only_failed(checks, name):
    """The one check that failed; those after it were not done."""
    at = NAMES.index(name)
    assert all(checks[other].outcome is Outcome.OK for other in NAMES[:at])
    assert all(checks[other].outcome is Outcome.SKIPPED for other in NAMES[at + 1 :])
    assert checks[name].outcome is Outcome.FAILED
    assert checks[name].remedy
    return checks[name]


def test_a_sound_board_with_a_wire():
    with PtyBench(Loopback(output=1, input=2, rise=48, fall=160)) as bench:
        checks = examine(bench.path)
    assert all(check.outcome is Outcome.OK for check in checks.values())
    (loop,) = checks["loopback"].values["loops"]
    assert (loop["output"], loop["input"], loop["inverts"]) == (2, 3, False)
    assert loop["rise"]["mean_us"] == 48 / HZ * 1e6
    assert loop["fall"] == {"mean_us": 160 / HZ * 1e6, "deviation_us": 0, "spread_us": 0}
    assert checks["link"].values["lost_answers"] == 0
    assert checks["play"].values["transitions"] == 8 * 18


def test_no_wire_is_no_ailment_unless_one_is_wanted():
    with PtyBench() as bench:
        assert examine(bench.path)["loopback"].outcome is Outcome.SKIPPED
        failed = only_failed(examine(bench.path, [Wire(0, 0)]), "loopback")
    assert "no pulses from out1 to in1" in failed.detail
    assert failed.remedy.startswith("Wire out1 to in1")


def test_only_the_named_outputs_give_pulses():
    with PtyBench(Loopback(inverts=True)) as bench:
        checks = examine(bench.path, [Wire(0, 0)])
    assert checks["play"].values["transitions"] == 18
    assert "inverted" in checks["loopback"].detail


def test_a_loose_wire():
    with PtyBench(Loopback(drop=(6, 7))) as bench:
        failed = only_failed(examine(bench.path), "loopback")
    assert "2 edges missing" in failed.detail
    assert "loose or noisy" in failed.remedy


def test_lines_that_the_board_does_not_have():
    with PtyBench() as bench:
        failed = only_failed(examine(bench.path, [Wire(0, 8)]), "play")
    assert "8 inputs, not out1 to in9" in failed.detail


def test_no_port_one_port_several_ports(monkeypatch):
    monkeypatch.setattr(list_ports, "comports", list)
    assert "no port has the USB ids" in only_failed(examine(None), "port").detail
    assert "there is no port /dev/none" in only_failed(examine("/dev/none"), "port").detail
    with PtyBench(board=Board()) as one, PtyBench() as two:
        monkeypatch.setattr(list_ports, "comports", lambda: [usb_port(one.path)])
        assert examine(None)["version"].detail.startswith("protocol 1.2")
        monkeypatch.setattr(
            list_ports, "comports", lambda: [usb_port(one.path), usb_port(two.path)]
        )
        assert "--port /dev/" in only_failed(examine(None), "port").remedy


def test_a_port_that_is_no_device_file_is_simply_opened():
    failed = only_failed(examine("COM93"), "free")
    assert "COM93" in failed.detail
    failed = only_failed(examine("socket://127.0.0.1:1"), "free")
    assert "refused" in failed.detail


def test_no_permission(monkeypatch):
    monkeypatch.setattr(doctor_module, "may_open", lambda _: False)
    monkeypatch.setattr(doctor_module, "owning_group", lambda _: "orchard")
    with PtyBench() as bench:
        failed = only_failed(examine(bench.path), "permission")
    assert failed.remedy.startswith("sudo usermod -aG orchard $USER")


@pytest.fixture
def holder():
    """Starts a program that has a port open, without locking it."""
    started = []

    def start(path):
        process = subprocess.Popen(
            [sys.executable, "-c", HOLDER, path], stdout=subprocess.PIPE, text=True
        )
        started.append(process)
        process.stdout.readline()
        return process.pid

    yield start
    for process in started:
        process.kill()
        process.wait()
        process.stdout.close()


def test_a_port_that_another_program_reads_too(holder):
    with PtyBench() as bench:
        pid = holder(bench.path)
        failed = only_failed(examine(bench.path), "free")
    assert f"{pid} (python" in failed.detail
    assert failed.remedy == f"Close it: kill {pid}"


def test_a_port_that_is_locked():
    with PtyBench() as bench:
        held = SerialPort(bench.path)
        failed = only_failed(examine(bench.path), "free")
        held.close()
    assert failed.detail == "another program has it: not known which"


def test_nothing_answers():
    with PtyBench(mute=True) as mute:
        failed = only_failed(examine(mute.path, clock=HurriedClock()), "answer")
    assert "not a byte" in failed.detail
    assert f"edgewheel flash --port {mute.path}" in failed.remedy


def test_a_wrong_protocol_fails_and_an_older_firmware_is_noted():
    with PtyBench(board=Board(major=2)) as bench:
        failed = only_failed(examine(bench.path), "version")
    assert "speaks protocol 2.2" in failed.detail
    with PtyBench(board=Board(firmware="0.0.1")) as bench:
        checks = examine(bench.path)
    assert checks["version"].outcome is Outcome.NOTE
    assert "firmware 0.0.1; this edgewheel comes with " in checks["version"].detail
    assert checks["version"].remedy == f"edgewheel flash --port {bench.path}"
    assert checks["play"].outcome is Outcome.OK


class Noisy(Board):
    """Every tenth piece of what it hears or says is spoilt."""

    def __init__(self, hears, says):
        super().__init__()
        self._hears, self._says, self._count = hears, says, 0

    def _spoil(self, data):
        self._count += 1
        if data and self._count % 10 == 0:
            return data[:3] + bytes((data[3] ^ 0x40,)) + data[4:]
        return data

    def receive(self, data, tick):
        super().receive(self._spoil(data) if self._hears else data, tick)

    def poll(self, tick):
        data, due = super().poll(tick)
        return (self._spoil(data) if self._says else data), due


@pytest.mark.parametrize(
    ("hears", "says", "key"),
    [
        (True, False, "bad_from_host"),
        (False, True, "bad_from_board"),
    ],
)
def test_a_bad_cable(hears, says, key):
    with PtyBench(board=Noisy(hears, says)) as bench:
        failed = only_failed(examine(bench.path, clock=HurriedClock()), "link")
    assert failed.values[key] > 0
    assert "another cable" in failed.remedy


def test_captured_changes_that_never_came_end_the_matching():
    class Forgetful(Board):
        forgets = True

        def _send(self, type_, payload):
            if type_ == Pulses.TYPE and self.forgets:
                self.forgets = False
            else:
                super()._send(type_, payload)

    with PtyBench(Loopback(), Forgetful()) as bench:
        failed = only_failed(examine(bench.path), "loopback")
    assert "captured changes were lost" in failed.detail


def test_a_computer_that_is_too_busy():
    """Every answer comes, but each takes longer than POLLs are apart in a run."""
    clock = VirtualClock()

    class Slow(Enquiry):
        def poll(self, patience_ns):
            clock.sleep_until(clock.now_ns() + 250_000_000)
            return Status(*[0] * 20)

    check = check_link(Slow(None, clock), clock)
    assert check.outcome is Outcome.FAILED
    assert check.values["slowest_ms"] == 250
    assert "busy" in check.remedy


def test_a_board_that_starves_is_told():
    class Starving(Board):
        def _act(self, frame):
            return None if frame.type == 0x14 else super()._act(frame)  # END never arrives

    with PtyBench(board=Starving()) as bench:
        failed = only_failed(examine(bench.path), "play")
    assert "ran out of transitions" in failed.detail


def test_a_board_that_goes_away():
    class Leaving(Loopback):
        def exchange(self, transitions, until_tick):
            if len(transitions):
                bench.unplug()
            return []

    with PtyBench(Leaving()) as bench:
        failed = only_failed(examine(bench.path), "play")
    assert "is gone" in failed.detail

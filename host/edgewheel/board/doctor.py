"""The doctor: one check after another from the port to a wire, each with what to type."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from edgewheel.board.check import Check, Outcome, failed, passed
from edgewheel.board.discovery import usb_candidates
from edgewheel.board.doctor_link import check_link
from edgewheel.board.doctor_wires import Wire, check_wires, measured_stages
from edgewheel.board.enquiry import Enquiry
from edgewheel.board.holders import holders, may_open, owning_group
from edgewheel.board.image import load_image, packaged_image
from edgewheel.board.loopback import Loop, PulseTable
from edgewheel.board.rounds import Play, play_once
from edgewheel.board.stage_store import StageStore
from edgewheel.clock import Clock, WallClock, utc_stamp
from edgewheel.errors import BenchError, EdgewheelError, UsageError
from edgewheel.link import greeting
from edgewheel.link.serial_port import BusyPortError, SerialPort
from edgewheel.link.welcome import SIMULATED, Welcome

LEAD_MS = 20
"""From START to the first pulse."""


class Doctor:
    """Checks one board. `wires` must be found; without any, those that are there are measured.

    `port` None takes the only port with the USB ids of a board. `store` keeps measured stages.
    """

    def __init__(
        self,
        port: str | None = None,
        wires: Sequence[Wire] = (),
        clock: Clock | None = None,
        store: StageStore | None = None,
    ) -> None:
        self.port = port or ""
        self._wires = tuple(wires)
        self._store = store or StageStore()
        self._clock = clock or WallClock()
        self._transport: SerialPort | None = None
        self._enquiry: Enquiry | None = None
        self._welcome: Welcome | None = None
        self._table: PulseTable | None = None
        self._play: Play | None = None

    def checks(self) -> Iterator[Check]:
        """Do them one by one; after one that failed the others are not done."""
        steps: dict[str, Callable[[], Check]] = {
            "port": self._find,
            "permission": self._may,
            "free": self._open,
            "answer": self._hello,
            "version": self._version,
            "link": self._link,
            "play": self._playing,
            "loopback": self._loopback,
        }
        broken = ""
        try:
            for name, step in steps.items():
                if broken:
                    yield Check(name, Outcome.SKIPPED, f"'{broken}' comes first")
                    continue
                check = self._safely(name, step)
                yield check
                broken = name if check.outcome is Outcome.FAILED else ""
        finally:
            if self._transport is not None:
                self._transport.close()

    def _safely(self, name: str, step: Callable[[], Check]) -> Check:
        try:
            return step()
        except OSError as error:
            text = f"{self.port} went away ({error})"
            return failed(name, text, f"Plug the board in again, then: {self._again}")

    @property
    def _is_device(self) -> bool:
        """Is the port a device file, and neither a URL nor a name such as COM3?"""
        return self.port.startswith("/")

    @property
    def _again(self) -> str:
        return f"edgewheel doctor --port {self.port}"

    @property
    def _flash(self) -> str:
        return f"edgewheel flash --port {self.port}"

    # The port

    def _find(self) -> Check:
        if self.port:
            if not self._is_device or Path(self.port).exists():
                return passed("port", self.port)
            remedy = "Plug the board in; to see what is there: edgewheel boards"
            return failed("port", f"there is no port {self.port}", remedy)
        ports = [candidate.port for candidate in usb_candidates()]
        if len(ports) == 1:
            self.port = ports[0]
            return passed("port", f"{self.port}, by its USB ids")
        if ports:
            remedy = f"Name the one you mean: edgewheel doctor --port {ports[0]}"
            return failed("port", f"there are several: {', '.join(ports)}", remedy)
        remedy = (
            "Plug the board in. A new one wants its firmware first: edgewheel flash. One that is "
            "not on USB is named: edgewheel doctor --port PORT"
        )
        return failed("port", "no port has the USB ids of a board", remedy)

    def _may(self) -> Check:
        if not self._is_device:
            return passed("permission", "not a device file")
        if may_open(self.port):
            return passed("permission", "this user may read and write it")
        group = owning_group(self.port) or "dialout"
        remedy = f"sudo usermod -aG {group} $USER   and then log in anew"
        return failed("permission", f"this user may not open it, group {group} may", remedy)

    def _open(self) -> Check:
        others = holders(self.port) if self._is_device else ()
        named = ", ".join(map(str, others))
        close = f"Close it: kill {others[0].pid}" if others else "Close the program that uses it."
        try:
            self._transport = SerialPort(self.port)
        except BusyPortError:
            return failed("free", f"another program has it: {named or 'not known which'}", close)
        except BenchError as error:
            return failed("free", str(error), f"Then again: {self._again}")
        if others:
            text = f"{named} has it open as well, and takes a part of what the board says"
            return failed("free", text, close)
        return passed("free", "no other program has it")

    # The board

    def _hello(self) -> Check:
        assert self._transport is not None
        self._enquiry = enquiry = Enquiry(self._transport, self._clock)
        self._welcome = welcome = enquiry.hello(greeting.PATIENCE_NS)
        if welcome is not None:
            text = f"{greeting.describe(welcome)}, firmware {welcome.firmware or '?'}"
            return passed("answer", text)
        if enquiry.inbox.bytes_heard:
            text = f"{enquiry.inbox.bytes_heard} bytes came, but no answer to HELLO"
            remedy = f"Is it the board's port (edgewheel boards)? If it is: {self._flash}"
            return failed("answer", text, remedy)
        remedy = f"Unplug the board, plug it in, try again. If that does not help: {self._flash}"
        return failed("answer", "not a byte came in 4 s", remedy)

    def _version(self) -> Check:
        assert self._welcome is not None
        welcome = self._welcome
        error = greeting.judge(welcome, greeting.BoardWish(), self.port)
        if error is not None:
            return failed("version", str(error), self._flash)
        text = f"protocol {welcome.major}.{welcome.minor}, firmware {welcome.firmware or '?'}"
        if welcome.board == SIMULATED:
            return passed("version", text)
        try:
            image = load_image(packaged_image())
        except EdgewheelError as problem:
            return Check("version", Outcome.NOTE, text, f"The image here is no good: {problem}")
        if image.firmware != welcome.firmware:
            text += f"; this edgewheel comes with {image.firmware}"
            return Check("version", Outcome.NOTE, text, self._flash)
        return passed("version", text)

    def _link(self) -> Check:
        assert self._enquiry is not None
        return check_link(self._enquiry, self._clock)

    # Outputs and inputs

    def _playing(self) -> Check:
        assert self._welcome is not None and self._transport is not None
        welcome, transport = self._welcome, self._transport
        for wire in self._wires:
            if wire.output >= welcome.outputs or wire.input >= welcome.inputs:
                has = f"the board has {welcome.outputs} outputs and {welcome.inputs} inputs"
                return failed("play", f"{has}, not {wire}", f"{self._again} --loop 1:1")
        outputs = sorted({wire.output for wire in self._wires}) or list(range(welcome.outputs))
        first_tick = max(welcome.first_tick, LEAD_MS * welcome.tick_hz // 1000)
        self._table = PulseTable(outputs, welcome.tick_hz, first_tick)
        self._transport = None  # the session closes it
        try:
            self._play = play_once(transport, self._table, welcome, self._clock)
        except BenchError as error:
            return failed("play", str(error), f"Then again: {self._again}")
        ended = self._play.ended
        values = {"transitions": ended.played, "retransmits": ended.quality.retransmits}
        if not ended.verified:
            return failed("play", ended.explain(), f"Once more: {self._again}", values)
        text = f"all {ended.played} edges of the pulses on {len(outputs)} outputs were played"
        return passed("play", text, values)

    def _loopback(self) -> Check:
        assert self._play is not None and self._table is not None
        return check_wires(self._play, self._table, self._wires)

    def keep_stages(self, rail: str) -> Path:
        """Keep what the wires showed as the stages behind this board's outputs; the file.

        `rail` says on what supply and pull-up. To be called after all checks were passed. Raises
        UsageError if no wire was found, FileError, BenchError.
        """
        play, table, welcome = self._play, self._table, self._welcome
        loops: list[Loop] = []
        if play is not None and table is not None:
            loops = table.loops(play.ended.start_tick, play.ticks, play.levels)
        if not loops or welcome is None:
            raise UsageError(
                "No wire was measured, so there is nothing to keep. Wire the controller's line "
                f"back to an input, then: {self._again} --loop 1:1 --keep"
            )
        stages = measured_stages(loops, f"measured {utc_stamp()}, {rail}")
        return self._store.keep(welcome.unique_id, stages)

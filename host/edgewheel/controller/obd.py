"""OBD-II: mode 01 of SAE J1979 over ISO 15765-2, asked one thing after another.

Sources of the scaling: SAE J1979 (ISO 15031-5), PIDs 01, 0C and 0E. The transport is can-isotp's,
stepped by hand, so that nothing here waits or starts a thread.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from edgewheel.controller.asking import NS_PER_MS
from edgewheel.controller.lines import Fields, Report
from edgewheel.controller.reader import CanFrame, pairs_text

if TYPE_CHECKING:
    import isotp

CURRENT_DATA = 0x01
POSITIVE = 0x40
NEGATIVE = 0x7F
PENDING = 0x78
ANSWER_NS = 100 * NS_PER_MS
"""Twice the 50 ms within which an answer is due (ISO 15765-4, P2), for hosts that lag."""
PENDING_NS = 5_000 * NS_PER_MS
"""The same after 'response pending' (P2*)."""


@dataclass(frozen=True)
class Pid:
    """One parameter: its field, the length of its data, and what the data say."""

    field: str
    length: int
    decode: Callable[[bytes], float]


PIDS = {
    0x0C: Pid("rpm", 2, lambda data: (256 * data[0] + data[1]) / 4),
    0x0E: Pid("advance", 1, lambda data: data[0] / 2 - 64),
    0x01: Pid("codes", 4, lambda data: float(data[0] & 0x7F)),
}
"""Engine speed, timing advance of cylinder 1 before TDC, number of stored emission codes."""

BY_FIELD = {pid.field: number for number, pid in PIDS.items()}


@dataclass(frozen=True)
class ObdAddress:
    """The identifiers of request and answer, and their format."""

    request_id: int = 0x7E0
    response_id: int = 0x7E8
    extended: bool = False


class ObdReader:
    """Asks for each of `pids` in turn and reports each answer as it comes."""

    def __init__(self, address: ObdAddress, pids: tuple[int, ...], every_ms: float) -> None:
        self._address = address
        self._pids = deque(pids)
        self._every_ns = round(every_ms * NS_PER_MS)
        self._counts: Counter[str] = Counter()
        self._came: deque[CanFrame] = deque()
        self._out: list[CanFrame] = []
        self._next_ns: int | None = None
        self._until_ns = 0
        self._pending = False
        self._waiting: int | None = None
        self._stack = self._make_stack()

    def feed(self, piece: CanFrame, arrived: int) -> list[Report]:
        """The report of the answer that this frame completes."""
        self._counts["frames"] += 1
        if (piece.id, piece.extended) != (self._address.response_id, self._address.extended):
            self._counts["other_id"] += 1
            return []
        self._came.append(piece)
        self._stack.process()
        reports = []
        while (answer := self._stack.recv()) is not None:
            fields = self._read(bytes(answer))
            if fields:
                reports.append(Report(arrived, pairs_text(fields), fields))
        return reports

    def due(self, now_ns: int) -> list[CanFrame]:
        """Flow control, and the next request once the last has been answered or given up."""
        if self._pending:
            self._pending = False
            self._until_ns = now_ns + PENDING_NS
        if self._waiting is not None and now_ns >= self._until_ns:
            self._counts["unanswered"] += 1
            self._stack.stop_receiving()
            self._waiting = None
        if self._waiting is None and (self._next_ns is None or now_ns >= self._next_ns):
            self._ask(now_ns)
        self._stack.process()
        out, self._out = self._out, []
        return out

    def broken(self) -> None:
        self._came.clear()
        self._stack.stop_receiving()
        self._waiting = None

    def tally(self) -> dict[str, int]:
        return dict(self._counts)

    def _ask(self, now_ns: int) -> None:
        self._waiting = self._pids[0]
        self._pids.rotate(-1)
        self._next_ns = now_ns + self._every_ns
        self._until_ns = now_ns + max(self._every_ns, ANSWER_NS)
        self._stack.send(bytes((CURRENT_DATA, self._waiting)))

    def _read(self, answer: bytes) -> Fields | None:
        """The fields of an answer to a mode 01 request; None if it is another."""
        if len(answer) == 3 and answer[:2] == bytes((NEGATIVE, CURRENT_DATA)):
            if answer[2] == PENDING:
                self._counts["pending"] += 1
                self._pending = True
            else:
                self._counts["refused"] += 1
                self._waiting = None
            return None
        if len(answer) < 2 or answer[0] != POSITIVE | CURRENT_DATA:
            self._counts["other_answer"] += 1
            return None
        fields = decode_current_data(answer[1:])
        if fields is None:
            self._counts["short"] += 1
            return None
        self._waiting = None
        return fields

    def _make_stack(self) -> isotp.TransportLayerLogic:
        import isotp

        mode = (
            isotp.AddressingMode.Normal_29bits
            if self._address.extended
            else isotp.AddressingMode.Normal_11bits
        )
        address = isotp.Address(mode, txid=self._address.request_id, rxid=self._address.response_id)
        # Legislated OBD wants frames of 8 bytes, padded.
        padded = {"tx_padding": 0x00, "tx_data_min_length": 8}
        return isotp.TransportLayerLogic(
            rxfn=self._receive,
            txfn=self._transmit,
            address=address,
            error_handler=self._count_error,
            params=padded,
        )

    def _receive(self, _: float) -> isotp.CanMessage | None:
        import isotp

        if not self._came:
            return None
        frame = self._came.popleft()
        return isotp.CanMessage(
            arbitration_id=frame.id,
            dlc=len(frame.data),
            data=frame.data,
            extended_id=frame.extended,
        )

    def _transmit(self, message: isotp.CanMessage) -> None:
        self._out.append(
            CanFrame(message.arbitration_id, bytes(message.data), message.is_extended_id)
        )

    def _count_error(self, _: Exception) -> None:
        self._counts["transport_errors"] += 1


def decode_current_data(data: bytes) -> Fields | None:
    """PID, value, PID, value ... as fields; None if a PID is unknown or a value too short."""
    fields: Fields = {}
    while data:
        pid = PIDS.get(data[0])
        if pid is None or len(data) < 1 + pid.length:
            return None
        fields[pid.field] = pid.decode(data[1 : 1 + pid.length])
        data = data[1 + pid.length :]
    return fields

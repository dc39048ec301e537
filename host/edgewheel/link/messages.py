"""The messages of PROTOCOL.md as frozen values that pack to and unpack from a frame's payload."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, IntFlag
from operator import attrgetter
from struct import Struct
from typing import Any, ClassVar, NamedTuple, Self

MAGIC = b"EDWH"
MAJOR = 1
MINOR = 2
ANY_RUN = 0xFFFF
WAVE_OFF = 0xFF
FIRST_ORDERED = 0x10
FIRST_BOARD = 0x80


class State(IntEnum):
    """What the board does with its pins."""

    IDLE = 0
    ARMED = 1
    RUNNING = 2
    HOLDING = 3
    FAULTED = 4


class Reason(IntEnum):
    """Why the last run ended; a number of a later minor version reads as INTERNAL."""

    NONE = 0
    END = 1
    STOP = 2
    STARVED = 3
    LATE = 4
    HOST_SILENT = 5
    BAD_STREAM = 6
    LINK_DROPPED = 7
    OVERRUN = 8
    INTERNAL = 9

    @classmethod
    def _missing_(cls, value: object) -> Reason:
        return cls.INTERNAL


class Refusal(IntEnum):
    """Why a frame was refused; a number of a later minor version reads as VALUE."""

    UNKNOWN = 1
    MALFORMED = 2
    STATE = 3
    VALUE = 4

    @classmethod
    def _missing_(cls, value: object) -> Refusal:
        return cls.VALUE


class Flag(IntFlag):
    """Flags of STATUS."""

    HOLE = 1
    SPLICE_REFUSED = 2


class MalformedError(ValueError):
    """A payload that does not fit its type."""


class Message:
    """A message of fixed layout: a longer tail is ignored, a shorter payload is malformed."""

    TYPE: ClassVar[int]
    LAYOUT: ClassVar[Struct]
    __slots__ = ()
    _values: ClassVar[attrgetter[Any]]

    def __init_subclass__(cls) -> None:
        names = tuple(
            name for name in cls.__annotations__ if name not in ("TYPE", "LAYOUT", "FIRST")
        )
        if names:
            cls._values = attrgetter(*names)

    def pack(self) -> bytes:
        """The payload of a frame of this type."""
        values = type(self)._values(self)
        return self.LAYOUT.pack(*values) if isinstance(values, tuple) else self.LAYOUT.pack(values)

    @classmethod
    def unpack(cls, payload: bytes) -> Self:
        """The message in a payload; MalformedError if it is too short."""
        if len(payload) < cls.LAYOUT.size:
            raise MalformedError(
                f"{cls.__name__} needs {cls.LAYOUT.size} bytes, not {len(payload)}"
            )
        return cls(*cls.LAYOUT.unpack_from(payload))


@dataclass(frozen=True, slots=True)
class Hello(Message):
    TYPE: ClassVar[int] = 0x01
    LAYOUT: ClassVar[Struct] = Struct("<4sIBB")
    magic: bytes
    session: int
    major: int
    minor: int


@dataclass(frozen=True, slots=True)
class Poll(Message):
    TYPE: ClassVar[int] = 0x02
    LAYOUT: ClassVar[Struct] = Struct("<I")
    token: int


@dataclass(frozen=True, slots=True)
class Stop(Message):
    TYPE: ClassVar[int] = 0x03
    LAYOUT: ClassVar[Struct] = Struct("<H")
    run: int


@dataclass(frozen=True, slots=True)
class Park(Message):
    TYPE: ClassVar[int] = 0x04
    LAYOUT: ClassVar[Struct] = Struct("<H")
    run: int


@dataclass(frozen=True, slots=True)
class Arm(Message):
    TYPE: ClassVar[int] = 0x10
    LAYOUT: ClassVar[Struct] = Struct("<HBBBBHH")
    run: int
    epoch: int
    initial: int
    idle: int
    inputs: int
    park_after_ms: int
    host_timeout_ms: int


@dataclass(frozen=True, slots=True)
class Edges(Message):
    """`count` transitions from index `first` on, packed in `blocks`, the payload's tail.

    `first` and `end_tick` are the low 32 bits.
    """

    TYPE: ClassVar[int] = 0x11
    LAYOUT: ClassVar[Struct] = Struct("<BHII")
    epoch: int
    count: int
    first: int
    end_tick: int
    blocks: bytes

    def pack(self) -> bytes:
        return self.LAYOUT.pack(self.epoch, self.count, self.first, self.end_tick) + self.blocks

    @classmethod
    def unpack(cls, payload: bytes) -> Self:
        if len(payload) < cls.LAYOUT.size:
            raise MalformedError(f"Edges needs {cls.LAYOUT.size} bytes, not {len(payload)}")
        epoch, count, first, end_tick = cls.LAYOUT.unpack_from(payload)
        return cls(epoch, count, first, end_tick, payload[cls.LAYOUT.size :])


EDGES_HEAD = Edges.LAYOUT.size
COST_OVERHEAD = 2  # what a frame of EDGES costs beyond its payload


@dataclass(frozen=True, slots=True)
class Start(Message):
    TYPE: ClassVar[int] = 0x12
    LAYOUT: ClassVar[Struct] = Struct("<H")
    run: int


@dataclass(frozen=True, slots=True)
class Splice(Message):
    TYPE: ClassVar[int] = 0x13
    LAYOUT: ClassVar[Struct] = Struct("<BBQ")
    epoch: int
    next_epoch: int
    first: int


@dataclass(frozen=True, slots=True)
class End(Message):
    TYPE: ClassVar[int] = 0x14
    LAYOUT: ClassVar[Struct] = Struct("<BQQ")
    epoch: int
    count: int
    last_tick: int


@dataclass(frozen=True, slots=True)
class Bootloader(Message):
    TYPE: ClassVar[int] = 0x15
    LAYOUT: ClassVar[Struct] = Struct("<4s")
    magic: bytes


@dataclass(frozen=True, slots=True)
class Config(Message):
    """What voltage a wave makes of the transitions of an output; `fields` are tagged."""

    TYPE: ClassVar[int] = 0x16
    LAYOUT: ClassVar[Struct] = Struct("<BB")
    wave: int
    output: int
    fields: bytes

    def pack(self) -> bytes:
        return self.LAYOUT.pack(self.wave, self.output) + self.fields

    @classmethod
    def unpack(cls, payload: bytes) -> Self:
        if len(payload) < cls.LAYOUT.size:
            raise MalformedError(f"Config needs {cls.LAYOUT.size} bytes, not {len(payload)}")
        wave, output = cls.LAYOUT.unpack_from(payload)
        return cls(wave, output, payload[cls.LAYOUT.size :])


class _StatusFields(NamedTuple):
    next_seq: int
    state: int
    reason: int
    flags: int
    run: int
    epoch: int
    refused_epoch: int
    token: int
    tick: int
    start_tick: int
    credit: int
    handed: int
    played: int
    last_tick: int
    epoch_first: int
    park_tick: int
    queued: int
    bad_frames: int
    missed_frames: int
    lost_pulses: int
    armed_levels: int = 0


class Status(_StatusFields, Message):
    """Everything that the board knows about its run; absolute, so that the newest one is enough.

    It comes so often that it is a tuple, which is made quickest.
    """

    TYPE: ClassVar[int] = 0x82
    LAYOUT: ClassVar[Struct] = Struct("<BBBBHBBIQQQQQQQQIIIIB")
    FIRST: ClassVar[int] = 92  # bytes of protocol 1.0
    __slots__ = ()

    def pack(self) -> bytes:
        return self.LAYOUT.pack(*self)

    @classmethod
    def unpack(cls, payload: bytes) -> Self:
        """The message; what an earlier minor version leaves out at its end is 0."""
        if len(payload) < cls.FIRST:
            raise MalformedError(f"Status needs {cls.FIRST} bytes, not {len(payload)}")
        return cls._make(cls.LAYOUT.unpack_from(payload.ljust(cls.LAYOUT.size, b"\0")))


@dataclass(frozen=True, slots=True)
class Refused(Message):
    TYPE: ClassVar[int] = 0x84
    LAYOUT: ClassVar[Struct] = Struct("<BBB")
    type: int
    seq: int
    code: int


@dataclass(frozen=True, slots=True)
class Pulses(Message):
    """Captured changes from number `first` on: board ticks, and all levels after each."""

    TYPE: ClassVar[int] = 0x83
    LAYOUT: ClassVar[Struct] = Struct("<IQB")
    first: int
    ticks: tuple[int, ...]
    levels: tuple[int, ...]

    def pack(self) -> bytes:
        out = bytearray(self.LAYOUT.pack(self.first, self.ticks[0], len(self.ticks)))
        before = self.ticks[0]
        for tick, level in zip(self.ticks, self.levels, strict=True):
            out += varint(tick - before)
            out.append(level)
            before = tick
        return bytes(out)

    @classmethod
    def unpack(cls, payload: bytes) -> Self:
        if len(payload) < cls.LAYOUT.size:
            raise MalformedError(f"Pulses needs {cls.LAYOUT.size} bytes, not {len(payload)}")
        first, tick, count = cls.LAYOUT.unpack_from(payload)
        at = cls.LAYOUT.size
        ticks, levels = [], []
        for _ in range(count):
            delta, at = read_varint(payload, at)
            if at >= len(payload):
                raise MalformedError("Pulses ends within an entry")
            tick += delta
            ticks.append(tick)
            levels.append(payload[at])
            at += 1
        return cls(first, tuple(ticks), tuple(levels))


def varint(value: int) -> bytes:
    """`value` >= 0 in little-endian groups of 7 bits, the high bit set on all but the last."""
    out = bytearray()
    while value > 0x7F:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    out.append(value)
    return bytes(out)


def read_varint(data: bytes, at: int) -> tuple[int, int]:
    """The varint at `data[at]` and the place after it; MalformedError if the data end within it."""
    value = shift = 0
    while at < len(data):
        byte = data[at]
        at += 1
        value |= (byte & 0x7F) << shift
        if byte < 0x80:
            return value, at
        shift += 7
    raise MalformedError("a number is cut off")

"""The readers' part of a bench file: lines, records, requests, DBC, OBD."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Literal

from edgewheel.controller.asking import Request
from edgewheel.controller.can_port import need_extra
from edgewheel.controller.lines import pairs, read_format
from edgewheel.controller.listening import CanMessages, Lines, Obd, Records, SerialListening
from edgewheel.controller.obd import BY_FIELD, ObdAddress
from edgewheel.controller.records import NUMBERS, Checksum, Layout, Number, RecordField
from edgewheel.yamlfile import LARGEST_FILE_BYTES, Node, Section, read_text

LONGEST_RECORD = 4096
HIGHEST_ID = {False: 0x7FF, True: 0x1FFF_FFFF}
BYTE_ORDERS: tuple[Literal["little", "big"], ...] = ("little", "big")


def read_serial_listening(section: Section) -> SerialListening:
    """`lines:` or `records:`, and `ask:`, of a controller on a serial port. Raises FileError."""
    lines, records = section.optional("lines"), section.optional("records")
    ask = section.optional("ask")
    request = _request(ask) if ask else None
    if lines is not None and records is not None:
        raise records.refuse("lines and records stand here", "Keep one of the two.")
    if records is None:
        return Lines(read_format(lines) if lines else pairs, request)
    layout = read_layout(records)
    if not layout.header and layout.checksum is None and request is None:
        raise records.refuse(
            "nothing tells where a record begins", "Add 'header:', 'checksum:' or 'ask:'."
        )
    return Records(layout, request)


def read_can_listening(section: Section, folder: Path) -> tuple[CanMessages, Path]:
    """`dbc:` of a controller on CAN, and the file. Raises FileError."""
    node = section.required("dbc")
    file = folder / node.text()
    listening = CanMessages(read_text(file, LARGEST_FILE_BYTES))
    try:
        from cantools.database.errors import Error as DatabaseError
    except ImportError as error:
        raise need_extra(error) from error
    try:
        listening.reader()
    except (DatabaseError, ValueError) as error:
        raise node.refuse(f"{file.name} is no DBC file: {error}", "Export it anew.") from error
    return listening, file


def read_obd_listening(section: Section) -> Obd:
    """`ask:`, `every_ms:` and the identifiers of a controller that speaks OBD. Raises FileError."""
    extended_node = section.optional("extended")
    extended = extended_node.flag() if extended_node else False
    usual = ObdAddress(0x18DA_10F1, 0x18DA_F110, True) if extended else ObdAddress()
    ask = section.optional("ask")
    words = tuple(BY_FIELD)
    fields = [one.choice(words) for one in ask.items()] if ask else list(words)
    if ask is not None and not fields:
        raise ask.refuse("nothing is asked for", f"Name some of: {', '.join(words)}.")
    every = section.optional("every_ms")
    highest = HIGHEST_ID[extended]

    def identifier(key: str, default: int) -> int:
        node = section.optional(key)
        return _hex_or_integer(node, highest) if node else default

    return Obd(
        ObdAddress(
            identifier("request_id", usual.request_id),
            identifier("response_id", usual.response_id),
            extended,
        ),
        tuple(BY_FIELD[field] for field in fields),
        float(every.number(5, 60_000)) if every else Obd.every_ms,
    )


def read_layout(node: Node) -> Layout:
    """A record's layout. Raises FileError."""
    section = node.section()
    size = section.required("size").integer(1, LONGEST_RECORD)
    header = section.optional("header")
    order = section.optional("byte_order")
    fields = section.required("fields")
    checksum = section.optional("checksum")
    section.finish()
    field_section = fields.section()
    layout = Layout(
        size,
        _bytes(header) if header else b"",
        order.choice(BYTE_ORDERS) if order else "little",
        tuple(_field(name, field_section.required(name), size) for name in field_section.nodes),
        _checksum(checksum, size) if checksum else None,
    )
    if len(layout.header) >= size:
        raise node.refuse("the header fills the record", "Check 'size:' and 'header:'.")
    return layout


def _field(name: str, node: Node, size: int) -> RecordField:
    section = node.section()
    type_ = section.required("type").choice(tuple(NUMBERS))
    at = _place(section.required("at"), type_, size)
    scale, offset = section.optional("scale"), section.optional("offset")
    bit, words = section.optional("bit"), section.optional("words")
    section.finish()
    if bit is not None and type_ in ("f32", "f64"):
        raise bit.refuse("a floating-point number has no bits to name", "Give an integer type.")
    return RecordField(
        name,
        at,
        type_,
        float(scale.number()) if scale else 1.0,
        float(offset.number()) if offset else 0.0,
        bit.integer(0, 31) if bit else None,
        _words(words) if words else {},
    )


def _words(node: Node) -> dict[int, str]:
    """`{0: none, 1: crank}`: the words of raw values."""
    words = {}
    for key, word in node.section().nodes.items():
        try:
            words[int(key)] = word.text()
        except ValueError as error:
            raise word.refuse(f"'{key}' is no whole number", "Write 0: word.") from error
    return words


def _checksum(node: Node, size: int) -> Checksum:
    section = node.section()
    name = section.required("crc")
    type_ = section.required("type").choice(tuple(NUMBERS))
    at = _place(section.required("at"), type_, size)
    first = section.optional("first")
    section.finish()
    return Checksum(at, type_, _crc(name), first.integer(0, at - 1) if first else 0)


def _crc(node: Node) -> Callable[[bytes], int]:
    """A CRC by the name that crcmod gives it."""
    from crcmod.predefined import PredefinedCrc, mkPredefinedCrcFun

    try:
        PredefinedCrc(node.text())
    except KeyError as error:
        raise node.refuse(
            f"'{node.content}' is no CRC that crcmod knows",
            "Write its name there, such as crc-ccitt-false, modbus or crc-32.",
        ) from error
    compute: Callable[[bytes], int] = mkPredefinedCrcFun(node.text())
    return compute


def _place(node: Node, type_: Number, size: int) -> int:
    from struct import calcsize

    length = calcsize("<" + NUMBERS[type_])
    at = node.integer(0, size - 1)
    if at + length > size:
        raise node.refuse(
            f"{length} bytes at {at} reach beyond the record", f"Records are {size} bytes long."
        )
    return at


def _request(node: Node) -> Request:
    section = node.section()
    text, raw = section.optional("text"), section.optional("bytes")
    every = section.required("every_ms").number(1, 60_000)
    section.finish()
    if (text is None) == (raw is None):
        raise node.refuse("the request is not said once", "Write 'text:' or 'bytes:'.")
    data = text.text().encode() if text else _bytes(raw) if raw else b""
    return Request(data, float(every))


def _bytes(node: Node) -> bytes:
    try:
        data = bytes.fromhex(node.text())
    except ValueError as error:
        raise node.refuse(
            f"'{node.content}' are no bytes", "Write two hexadecimal digits a byte: 'A5 01'."
        ) from error
    return data


def _hex_or_integer(node: Node, highest: int) -> int:
    text = node.text()
    try:
        number = int(text, 0)
    except ValueError as error:
        raise node.refuse(f"'{text}' is no identifier", "Write it as 0x7E0.") from error
    if not 0 <= number <= highest:
        raise node.refuse(f"{text} is no identifier", f"Write at most {highest:#x}.")
    return number

"""Rows of equally wide numbers, packed low bit first, as blocks carry them."""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt

Ints = npt.NDArray[np.int64]
Bytes = npt.NDArray[np.uint8]


@functools.cache
def _shifts(width: int) -> Ints:
    return np.arange(width, dtype=np.int64)


@functools.cache
def _weights(width: int) -> Ints:
    return np.left_shift(1, _shifts(width))


def packed_bytes(count: int, width: int) -> int:
    """Bytes that `count` numbers of `width` bits take."""
    return (count * width + 7) >> 3


def pack_rows(values: Ints, width: int) -> Bytes:
    """Rows (n, count) of numbers below 2**width, as rows of bytes padded with zero bits."""
    bits = ((values[:, :, None] >> _shifts(width)) & 1).astype(np.uint8)
    return np.packbits(bits.reshape(len(values), -1), axis=1, bitorder="little")


def unpack_rows(rows: Bytes, count: int, width: int) -> Ints:
    """The numbers (n, count) that :func:`pack_rows` packed."""
    bits = np.unpackbits(rows, axis=1, count=count * width, bitorder="little")
    return bits.reshape(len(rows), count, width) @ _weights(width)


def bit_lengths(values: Ints) -> Ints:
    """How many bits each non-negative number below 2**53 takes; 0 for 0."""
    return np.frexp(values)[1].astype(np.int64)


def zigzag(values: Ints) -> Ints:
    """0, -1, 1, -2 ... as 0, 1, 2, 3 ...; the inverse is :func:`unzigzag`."""
    return (values << 1) ^ (values >> 63)


def unzigzag(codes: Ints) -> Ints:
    """The signed numbers that :func:`zigzag` coded."""
    return (codes >> 1) ^ -(codes & 1)

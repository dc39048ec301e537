"""Frames and blocks read the slow way, straight from PROTOCOL.md, to hold the fast code against."""

import binascii


class MisfitError(Exception):
    """PROTOCOL.md's bad_stream."""


class PlainDecoder:
    """A board's memory of one run: deltas, masks, the lag in force."""

    def __init__(self, history_depth, shortest_hold_ticks, first_tick):
        self.depth, self.shortest, self.least_first = history_depth, shortest_hold_ticks, first_tick
        self.deltas, self.masks, self.lag = [], [], 0

    @property
    def tick(self):
        return sum(self.deltas)

    def rewind(self, count):
        del self.deltas[count:], self.masks[count:]
        self.lag = 0

    def edges(self, payload):
        """Take the payload of one EDGES frame; the run ticks and masks of its transitions."""
        known, lag = len(self.deltas), self.lag
        try:
            return self._edges(payload)
        except MisfitError:
            del self.deltas[known:], self.masks[known:]
            self.lag = lag
            raise

    def _edges(self, payload):
        count = int.from_bytes(payload[1:3], "little")
        first = int.from_bytes(payload[3:7], "little")
        end_tick = int.from_bytes(payload[7:11], "little")
        known = len(self.deltas)
        rest = payload[11:]
        while rest:
            rest = self._block(rest)
        wanted = (known % 2**32, known + count, self.tick % 2**32)
        if (first, len(self.deltas), end_tick) != wanted or not 1 <= count <= 512:
            raise MisfitError
        ticks = [sum(self.deltas[: known + i + 1]) for i in range(count)]
        return ticks, self.masks[known:]

    def _block(self, data):
        take = _Bytes(data)
        header = int.from_bytes(take(2), "little")
        predictor, count, width = header % 4, header // 4 % 16 + 1, header // 64 % 64
        if predictor == 3 or width > 32 or header >= 1 << 14:
            raise MisfitError
        if header & 1 << 13:
            self.lag = int.from_bytes(take(2), "little")
        bits = int.from_bytes(take((count * width + 7) // 8), "little")
        masks = take(count) if header & 1 << 12 else None
        for i in range(count):
            residual = (bits >> i * width) % 2**width
            self._transition(predictor, residual, masks[i] if masks else None)
        return take.rest

    def _transition(self, predictor, residual, mask):
        n = len(self.deltas)
        if predictor == 0:
            delta = residual
        else:
            delta = self._ago(self.deltas, n, self.lag)
            delta += -(residual + 1) // 2 if residual % 2 else residual // 2
        if predictor == 2:
            delta += self.deltas[n - 1] - self._ago(self.deltas, n, self.lag + 1)
        least = self.shortest if n else self.least_first
        if not least <= delta < 2**32:
            raise MisfitError
        self.masks.append(self._ago(self.masks, n, self.lag) if mask is None else mask)
        self.deltas.append(delta)

    def _ago(self, column, n, back):
        if not self.lag or back > n or back > self.depth:
            raise MisfitError
        return column[n - back]


class _Bytes:
    def __init__(self, data):
        self.rest = data

    def __call__(self, count):
        if len(self.rest) < count:
            raise MisfitError
        taken, self.rest = self.rest[:count], self.rest[count:]
        return taken


def plain_frame(type_, seq, payload):
    """A frame byte by byte, closing zero included."""
    body = bytes((type_, seq)) + payload
    body += binascii.crc32(body).to_bytes(4, "little")
    out, group = bytearray(), bytearray()
    for byte in [*body, 0]:
        if byte:
            group.append(byte)
        else:
            out += bytes((len(group) + 1,)) + group
            group = bytearray()
    return bytes(out) + b"\0"

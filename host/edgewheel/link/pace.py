"""How much is on its way to the wire, so that urgent frames need not queue behind it."""

from __future__ import annotations


class Pacer:
    """The model of a wire that takes `bytes_per_s`."""

    def __init__(self, bytes_per_s: float) -> None:
        self._ns_per_byte = 1e9 / bytes_per_s
        self._free_ns = 0.0

    def send(self, size: int, now_ns: int) -> None:
        """So many bytes go to the wire now."""
        self._free_ns = max(self._free_ns, now_ns) + size * self._ns_per_byte

    def busy_ns(self, now_ns: int) -> int:
        """Nanoseconds until everything has left."""
        return max(0, int(self._free_ns - now_ns))

    def wait_ns(self, size: int, most_ns: int, now_ns: int) -> int:
        """How long to wait until so many bytes more keep the wire busy for at most `most_ns`.

        0 if that is so now, or if the wire is idle, however slow it is.
        """
        busy_ns = self.busy_ns(now_ns)
        return min(busy_ns, max(0, int(busy_ns + size * self._ns_per_byte) - most_ns))

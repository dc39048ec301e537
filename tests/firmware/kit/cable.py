"""A TCP cable between a host and a port. Cut, nothing comes through, but all stays open."""

from __future__ import annotations

import select
import socket
import threading
from urllib.parse import urlsplit


class Cable:
    """Opens `url` when somebody opens its own `url`, and carries bytes both ways."""

    def __init__(self, url: str) -> None:
        far = urlsplit(url)
        self._far = (far.hostname, far.port)
        self._server = socket.create_server(("127.0.0.1", 0))
        self.url = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
        self._cut = threading.Event()
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._carry, daemon=True)
        self._thread.start()

    def cut(self) -> None:
        self._cut.set()

    def _carry(self) -> None:
        near = self._server.accept()[0]
        with near, socket.create_connection(self._far) as far:
            ends = {near: far, far: near}
            while not self._over.is_set() and not self._cut.is_set():
                for end in select.select(ends, [], [], 0.05)[0]:
                    data = end.recv(65_536)
                    if not data:
                        return
                    if not self._cut.is_set():
                        ends[end].sendall(data)
            # Neither end learns what the other does from here on, not even that it closes.
            self._over.wait()

    def close(self) -> None:
        self._over.set()
        self._server.close()
        self._thread.join(timeout=10)

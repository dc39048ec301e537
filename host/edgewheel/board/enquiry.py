"""A short talk with whatever is at a port: who is there, how soon it answers. No run is touched."""

from __future__ import annotations

import secrets
from collections.abc import Iterator

from edgewheel.clock import Clock
from edgewheel.link import greeting
from edgewheel.link.frames import Frame, encode_frame
from edgewheel.link.inbox import Inbox
from edgewheel.link.messages import (
    ANY_RUN,
    Bootloader,
    Hello,
    MalformedError,
    Poll,
    Refusal,
    Refused,
    Status,
    Stop,
)
from edgewheel.link.transport import Transport
from edgewheel.link.welcome import Welcome

BOOTLOADER_MAGIC = b"BOOT"


class Enquiry:
    """Asks on a transport that is open; `inbox` counts what it hears. OSError once the port is
    gone.
    """

    def __init__(self, transport: Transport, clock: Clock) -> None:
        self.inbox = Inbox()
        self._transport = transport
        self._clock = clock
        self._session = secrets.randbits(32)
        self._token = 0

    def hello(self, patience_ns: int) -> Welcome | None:
        """Say HELLO until somebody answers; None if nobody does within `patience_ns`."""
        end_ns = self._clock.now_ns() + patience_ns
        payload = greeting.hello(self._session)
        while self._clock.now_ns() < end_ns:
            # The zero in front ends whatever a boot loader or terminal has left on the line.
            self._transport.write(b"\0" + encode_frame(Hello.TYPE, 0, payload))
            again_ns = min(self._clock.now_ns() + greeting.RETRY_NS, end_ns)
            for frame in self._frames(again_ns):
                if frame.type == Welcome.TYPE:
                    try:
                        return Welcome.unpack(frame.payload)
                    except MalformedError:
                        continue
        return None

    def poll(self, patience_ns: int) -> Status | None:
        """Say POLL once; the STATUS that answers it, None if none came within `patience_ns`."""
        self._token += 1
        self._transport.write(encode_frame(Poll.TYPE, 0, Poll(self._token).pack()))
        for frame in self._frames(self._clock.now_ns() + patience_ns):
            if frame.type == Status.TYPE:
                status = Status.unpack(frame.payload)
                if status.token == self._token:
                    return status
        return None

    def enter_bootloader(self, patience_ns: int) -> Refusal | None:
        """Order the board into its boot loader, once it has answered HELLO.

        A run of a host that is gone is stopped first. Returns the board's refusal; None if it did
        not refuse within `patience_ns`, or left the port.
        """
        stop = encode_frame(Stop.TYPE, 0, Stop(ANY_RUN).pack())
        # The first ordered frame of a session has the number of its HELLO.
        order = encode_frame(Bootloader.TYPE, 0, Bootloader(BOOTLOADER_MAGIC).pack())
        try:
            self._transport.write(stop + order)
            for frame in self._frames(self._clock.now_ns() + patience_ns):
                if frame.type == Refused.TYPE:
                    refused = Refused.unpack(frame.payload)
                    if refused.type == Bootloader.TYPE:
                        return Refusal(refused.code)
        except OSError:
            return None
        return None

    def _frames(self, until_ns: int) -> Iterator[Frame]:
        """Good frames as they come, until a moment."""
        while self._clock.now_ns() < until_ns:
            yield from self.inbox.feed(self._transport.read())

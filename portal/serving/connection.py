"""One connection, and where it is between two requests."""

from __future__ import annotations

import socket
from dataclasses import dataclass, field
from enum import Enum

from portal.serving.head import Head


class Phase(Enum):
    IDLE = "idle"  # nothing of the next request has arrived
    READING = "reading"
    AT_WORK = "at work"  # waits for a thread, or has one
    SENDING = "sending"
    LINGERING = "lingering"  # answered and done: what still arrives is thrown away
    CLOSED = "closed"


WAITS_FOR_PEER = frozenset({Phase.IDLE, Phase.READING, Phase.SENDING, Phase.LINGERING})


@dataclass(eq=False)
class Connection:
    sock: socket.socket
    client: tuple[str, int]
    server: tuple[str, int]
    deadline: float
    # Whose share of the house this connection uses; behind a front server, known with the head.
    address: str
    phase: Phase = Phase.IDLE
    received: bytearray = field(default_factory=bytearray)
    head: Head | None = None
    to_send: memoryview = field(default_factory=lambda: memoryview(b""))
    is_kept: bool = False

    @property
    def body_is_here(self) -> bool:
        return self.head is not None and len(self.received) >= self.request_bytes

    @property
    def request_bytes(self) -> int:
        """Bytes of the request as far as its length is known."""
        return self.head.length_bytes + (self.head.body_bytes or 0) if self.head else 0

    @property
    def form_bytes(self) -> int:
        """What the body on its way takes, or will take, in memory."""
        return (self.head.body_bytes or 0) if self.head and self.phase is Phase.READING else 0

    def take_request(self) -> bytes:
        """The one request that is complete; what follows it stays for the next turn."""
        request = bytes(self.received[: self.request_bytes])
        del self.received[: self.request_bytes]
        return request

    def take_all(self) -> bytes:
        everything = bytes(self.received)
        self.received.clear()
        return everything

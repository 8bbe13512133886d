"""The loop in front of the threads: a thread sees a request when all of it is here.

One thread waits for all connections at once, so that one that says nothing, or drips, costs a descriptor and some
bytes until its deadline, and no thread. Long requests (uploads, downloads) have places of their own.
"""

from __future__ import annotations

import selectors
import socket
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from queue import Empty, SimpleQueue
from typing import Protocol

from portal.front_servers import address_behind, is_front_server, may_be_gateway
from portal.serving import refusals
from portal.serving.connection import WAITS_FOR_PEER, Connection, Phase
from portal.serving.head import read_head
from portal.serving.limits import Limits
from portal.serving.places import Places
from portal.serving.queue import FairQueue

PIECE_BYTES = 64 * 1024
ACCEPTED_AT_ONCE = 64
LOOK_EVERY_S = 0.25
CONTINUE = b"HTTP/1.1 100 Continue\r\n\r\n"


class Begin(Protocol):
    """Starts the work on a request in a thread, which calls `Loop.ended` soon after."""

    def __call__(self, connection: Connection, request: bytes, *, is_long: bool) -> None: ...


def is_free(address: str, connection: Connection) -> bool:
    return (connection.head is not None and connection.head.is_static) or may_be_gateway(address)


class Loop:
    def __init__(
        self,
        listeners: Iterable[socket.socket],
        *,
        limits: Limits,
        threads: int,
        begin: Begin,
    ) -> None:
        self.limits, self.begin = limits, begin
        self.listeners = list(listeners)
        self.connections: set[Connection] = set()
        self.pages: FairQueue[Connection] = FairQueue(
            at_once=threads,
            # Of two that compute, each has half: an address with few at once leaves the others time, not only threads.
            at_once_per_address=max(1, threads // 4),
            waiting=limits.waiting,
            waiting_per_address=limits.waiting_per_address,
            per_s=limits.requests_per_s,
            burst=limits.requests_at_once,
            is_free=is_free,
        )
        self.places = Places(all_together=limits.long_requests, per_address=limits.long_requests_per_address)
        self.done: SimpleQueue[Callable[[], None]] = SimpleQueue()
        self.wakes, self.waker = socket.socketpair()
        self.selector = selectors.DefaultSelector()
        for end in (self.wakes, self.waker):
            end.settimeout(0)
        self.selector.register(self.wakes, selectors.EVENT_READ, self._clear_wakes)
        for listener in self.listeners:
            listener.settimeout(0)
            self.selector.register(listener, selectors.EVENT_READ, self._accept)
        self.looked_at = 0.0

    # What other threads call.

    def soon(self, call: Callable[[], None]) -> None:
        self.done.put(call)
        self.wake()

    def wake(self) -> None:
        with suppress(OSError):  # full: it will wake
            self.waker.send(b"\0")

    # What the worker calls.

    def step(self, timeout_s: float) -> None:
        for key, _ in self.selector.select(min(timeout_s, LOOK_EVERY_S)):
            key.data(key.fileobj)
        with suppress(Empty):
            while True:
                self.done.get_nowait()()
        if time.monotonic() - self.looked_at > LOOK_EVERY_S:
            self._look_at_deadlines()

    def stop_accepting(self) -> None:
        for listener in self.listeners:
            self.selector.unregister(listener)
        self.listeners.clear()
        for connection in [one for one in self.connections if one.phase is Phase.IDLE]:
            self._close(connection)

    def close(self) -> None:
        for connection in list(self.connections):
            self._close(connection)
        self.selector.close()
        self.wakes.close()
        self.waker.close()

    def ended(self, connection: Connection, answer: bytes, *, was_page: bool, is_kept: bool) -> None:
        """A request is answered: `answer` is what is still to be sent."""
        if was_page:
            self.pages.end(connection.address)
        self._send(connection, answer, is_kept=is_kept and bool(self.listeners))
        self._begin_pages()

    def moved(self, connection: Connection) -> None:
        """The thread for pages is free: the long answer is sent by another."""
        self.pages.end(connection.address)
        self._begin_pages()

    # New connections.

    def _accept(self, listener: socket.socket) -> None:
        for _ in range(ACCEPTED_AT_ONCE):
            try:
                sock, client = listener.accept()
            except OSError:  # nobody is left, or this one is gone already
                return
            self._welcome(sock, client if isinstance(client, tuple) else ("", 0), listener)

    def _welcome(self, sock: socket.socket, client: tuple[str, int], listener: socket.socket) -> None:
        sock.settimeout(0)
        host, server = client[0], listener.getsockname()
        is_front = is_front_server(host)
        mates = 0 if is_front else sum(one.client[0] == host for one in self.connections)
        if mates >= self.limits.connections_per_address:
            with suppress(OSError):
                sock.send(refusals.TOO_MANY_CONNECTIONS)
            sock.close()
            return
        if len(self.connections) >= self.limits.connections:
            self._close_longest_waiting()
        deadline = time.monotonic() + self.limits.head_within_s
        server = server if isinstance(server, tuple) else (server, 0)
        connection = Connection(sock, client, server, deadline, address=host)
        self.connections.add(connection)
        self.selector.register(sock, selectors.EVENT_READ, lambda _: self._read(connection))

    def _close_longest_waiting(self) -> None:
        """Of those that let us wait. When all are at work, the house is one connection over its limit."""
        waiting = [one for one in self.connections if one.phase in WAITS_FOR_PEER]
        if waiting:
            self._close(min(waiting, key=lambda one: one.deadline))

    # Requests.

    def _read(self, connection: Connection) -> None:
        try:
            piece = connection.sock.recv(PIECE_BYTES)
        except BlockingIOError:
            return
        except OSError:
            piece = b""
        if not piece:
            self._close(connection)
        elif connection.phase is not Phase.LINGERING:
            connection.received += piece
            self._advance(connection)

    def _advance(self, connection: Connection) -> None:
        if connection.phase is Phase.IDLE and connection.received:
            connection.phase = Phase.READING
            connection.deadline = time.monotonic() + self.limits.head_within_s
        if connection.head is None and not self._read_head(connection):
            return
        assert connection.head is not None  # noqa: S101  for the types: read one line above
        if connection.head.carries_upload or (connection.head.body_bytes or 0) > self.limits.largest_form_bytes:
            self._begin_long(connection)
        elif connection.body_is_here:
            self._pause(connection)
            if not self.pages.put(connection.address, connection):
                self._refuse(connection, refusals.TOO_MANY_REQUESTS)
            self._begin_pages()

    def _read_head(self, connection: Connection) -> bool:
        """Whether the request goes on from here."""
        head = read_head(connection.received)
        if head is None or head.length_bytes > self.limits.largest_head_bytes:
            if head is not None or len(connection.received) > self.limits.largest_head_bytes:
                self._refuse(connection, refusals.LONG_HEAD)
            return False
        connection.head = head
        connection.address = address_behind(connection.client[0], head.forwarded_for)
        if (head.body_bytes or 0) > self.limits.largest_form_bytes or head.carries_upload:
            return True
        if not self._has_memory_for(connection):
            self._refuse(connection, refusals.NO_MEMORY)
            return False
        connection.deadline = time.monotonic() + self.limits.seconds_for(connection.form_bytes)
        if head.expects_continue and not connection.body_is_here:
            with suppress(OSError):
                connection.sock.send(CONTINUE)
        return True

    def _has_memory_for(self, connection: Connection) -> bool:
        if not connection.form_bytes:
            return True
        every = sum(one.form_bytes for one in self.connections)
        own = sum(one.form_bytes for one in self.connections if one.address == connection.address)
        return every <= self.limits.form_bytes and own <= self.limits.form_bytes_per_address

    def _begin_long(self, connection: Connection) -> None:
        if not self.places.take(connection.address):
            self._refuse(connection, refusals.NO_PLACE)
            return
        self._pause(connection)
        connection.sock.settimeout(self.limits.piece_within_s)
        self.begin(connection, connection.take_all(), is_long=True)

    def _begin_pages(self) -> None:
        while connection := self.pages.take():
            self.begin(connection, connection.take_request(), is_long=False)

    def _pause(self, connection: Connection) -> None:
        self.selector.unregister(connection.sock)
        connection.phase = Phase.AT_WORK

    # Answers.

    def _refuse(self, connection: Connection, answer: bytes) -> None:
        if connection.phase is not Phase.AT_WORK:
            self._pause(connection)
        self._send(connection, answer, is_kept=False)

    def _send(self, connection: Connection, answer: bytes, *, is_kept: bool) -> None:
        connection.sock.settimeout(0)
        connection.to_send, connection.is_kept = memoryview(answer), is_kept
        connection.phase = Phase.SENDING
        connection.deadline = time.monotonic() + self.limits.seconds_for(len(answer))
        self.selector.register(connection.sock, selectors.EVENT_WRITE, lambda _: self._send_on(connection))
        self._send_on(connection)

    def _send_on(self, connection: Connection) -> None:
        try:
            while connection.to_send:
                connection.to_send = connection.to_send[connection.sock.send(connection.to_send) :]
        except BlockingIOError:
            if sum(len(one.to_send) for one in self.connections) > self.limits.answer_bytes:
                self._close(max(self.connections, key=lambda one: len(one.to_send)))
            return
        except OSError:
            self._close(connection)
            return
        connection.to_send = memoryview(b"")
        self._turn_to_next(connection) if connection.is_kept else self._linger(connection)

    def _turn_to_next(self, connection: Connection) -> None:
        connection.phase, connection.head = Phase.IDLE, None
        connection.deadline = time.monotonic() + self.limits.idle_s
        self.selector.modify(connection.sock, selectors.EVENT_READ, lambda _: self._read(connection))
        if connection.received:
            self.soon(lambda: self._advance(connection) if connection.phase is Phase.IDLE else None)

    def _linger(self, connection: Connection) -> None:
        try:
            connection.sock.shutdown(socket.SHUT_WR)
        except OSError:
            self._close(connection)
            return
        connection.received.clear()
        connection.phase = Phase.LINGERING
        connection.deadline = time.monotonic() + self.limits.linger_s
        self.selector.modify(connection.sock, selectors.EVENT_READ, lambda _: self._read(connection))

    # Ends.

    def _look_at_deadlines(self) -> None:
        self.looked_at = now = time.monotonic()
        self.pages.forget_full()
        self._begin_pages()  # of addresses that had to wait
        for connection in [one for one in self.connections if one.phase in WAITS_FOR_PEER and one.deadline <= now]:
            if connection.phase is Phase.READING:
                self._refuse(connection, refusals.TOO_SLOW)
            else:
                self._close(connection)

    def _close(self, connection: Connection) -> None:
        if connection.phase in WAITS_FOR_PEER:
            self.selector.unregister(connection.sock)
        connection.phase = Phase.CLOSED
        self.connections.discard(connection)
        connection.sock.close()

    def _clear_wakes(self, _: socket.socket) -> None:
        with suppress(OSError):
            self.wakes.recv(PIECE_BYTES)

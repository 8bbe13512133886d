"""A request in a thread: from its bytes to the bytes of its answer, by gunicorn's parser and the WSGI application.

A short request and a short answer never touch the connection: the loop has read the one and sends the other. What is
long reads or writes the connection itself, in a thread that pages do not use.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from gunicorn import http
from gunicorn.http import wsgi
from gunicorn.http.errors import NoMoreData

from portal.serving.connection import Connection


class Kept:
    """Takes what gunicorn would write to a connection."""

    def __init__(self) -> None:
        self.sent = bytearray()

    def sendall(self, data: bytes) -> None:
        self.sent += data

    send = sendall

    def gettimeout(self) -> float:
        return 0.0


class Exchange:
    """One request and its answer: `answer` first; then, in a thread for long requests, `send_rest` if there is one."""

    def __init__(self, worker: Any, connection: Connection, *, request: bytes, is_long: bool) -> None:
        self.worker, self.connection, self.is_long = worker, connection, is_long
        self.kept = Kept()
        self.out: Any = connection.sock if is_long else self.kept
        self.parser = http.get_parser(worker.cfg, connection.sock if is_long else [request], connection.client)
        if is_long:
            self.parser.unreader.unread(request)
        self.request: Any = None
        self.response: Any = None
        self.rest: Iterable[bytes] | None = None
        self.is_kept = False

    def answer(self) -> None:
        self._guarded(self._answer)

    def send_rest(self) -> None:
        self.out = self.response.sock = self.connection.sock
        self._guarded(self._send_rest)

    def drop_rest(self) -> None:
        """Nobody has a place to send it: nothing of it has been sent yet."""
        _close(self.rest)
        self.rest = None

    def _answer(self) -> None:
        self.request = next(self.parser)
        if not self.is_long:  # all of it is here: the loop has said so to a sender who waited
            self.request._expected_100_continue = False
        connection = self.connection
        self.response, environ = wsgi.create(
            self.request, self.out, connection.client, connection.server, self.worker.cfg
        )
        environ["wsgi.multithread"] = True
        if not self.is_long:
            del environ["gunicorn.socket"]
        if self.is_long or not self.worker.alive:
            self.response.force_close()
        pieces = self.worker.wsgi(environ, self.response.start_response)
        if self.is_long or self._is_short(pieces):
            self._write(pieces)
        else:
            self.rest = pieces

    def _is_short(self, pieces: Iterable[bytes]) -> bool:
        """In memory anyway, or of a length that may be."""
        if isinstance(pieces, (list, tuple)) or getattr(pieces, "streaming", None) is False:
            return True
        length = 0 if self.response._omits_body else self.response.response_length
        return length is not None and length <= self.worker.limits.largest_kept_answer_bytes

    def _send_rest(self) -> None:
        self._write(self.rest or [])

    def _write(self, pieces: Iterable[bytes]) -> None:
        try:
            for piece in pieces:
                self.response.write(piece)
            self.response.close()
        finally:
            _close(pieces)
        # Bytes that the parser has left over are no part of a request that we know the end of.
        self.is_kept = (
            not self.response.should_close()
            and bool(self.parser.finish_body())
            and not self.parser.unreader.take_buffered()
        )

    def _guarded(self, act: Callable[[], None]) -> None:
        """Whatever goes wrong ends this connection and nothing else."""
        try:
            act()
        except (StopIteration, NoMoreData, OSError) as error:  # the peer is gone, or too slow
            self.worker.log.debug("A connection ended: %s", error)
        except Exception as error:  # noqa: BLE001  gunicorn writes it into its log and answers
            self._answer_error(error)

    def _answer_error(self, error: Exception) -> None:
        self.is_kept = False
        if self.out is not self.kept and self.response is not None and self.response.headers_sent:
            self.worker.log.error("An answer broke off", exc_info=error)
            return
        self.kept.sent.clear()
        self.out = self.kept
        self.worker.handle_error(self.request, self.kept, self.connection.client, error)


def _close(pieces: Any) -> None:
    if hasattr(pieces, "close"):
        pieces.close()

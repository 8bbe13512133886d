"""The bytes of a request as they arrive, piece by piece, never all at once."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from typing import cast

from django.core.handlers.wsgi import WSGIRequest
from django.http import HttpRequest

from portal.uploads.errors import BadRequestError, TooLargeError

PIECE_BYTES = 256 * 1024
# A connection that says nothing for so long is taken as dropped: it would keep the upload locked against its own
# second try. Phones that change networks leave such connections behind.
LONGEST_SILENCE_S = 30.0

logger = logging.getLogger(__name__)


def pieces(request: HttpRequest, at_most: int) -> Iterator[bytes]:
    """What the client sends, up to `at_most` bytes. A connection that drops ends the pieces; it is no error here."""
    environ = cast(WSGIRequest, request).environ
    is_chunked = environ.get("HTTP_TRANSFER_ENCODING", "").lower() == "chunked"
    announced = at_most + 1 if is_chunked else content_length(environ.get("CONTENT_LENGTH"))
    if not is_chunked and announced > at_most:
        raise TooLargeError("More bytes arrived than announced.")
    return read(environ, announced=announced, at_most=at_most)


def read(environ: dict[str, object], *, announced: int, at_most: int) -> Iterator[bytes]:
    stream, wanted = environ["wsgi.input"], announced
    listen_for_silence(environ.get("gunicorn.socket"))
    while wanted > 0:
        try:
            piece = stream.read(min(PIECE_BYTES, wanted))  # type: ignore[attr-defined]
        except OSError:
            logger.info("a connection dropped in mid-upload")
            return
        if not piece:
            return
        wanted -= len(piece)
        if announced - wanted > at_most:
            raise TooLargeError("More bytes arrived than announced.")
        yield piece


def content_length(text: str | None) -> int:
    if not text:
        return 0
    if not (text.isascii() and text.isdigit()):
        raise BadRequestError("Content-Length must be a whole number.")
    return int(text)


def listen_for_silence(socket: object) -> None:
    if socket is not None:
        socket.settimeout(LONGEST_SILENCE_S)  # type: ignore[attr-defined]

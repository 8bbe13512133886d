from __future__ import annotations

import io
from typing import Any

import pytest
from django.core.handlers.wsgi import WSGIRequest
from django.test import RequestFactory

from portal.uploads import body
from portal.uploads.errors import BadRequestError, TooLargeError


def request(stream: object, **environ: Any) -> WSGIRequest:
    made = RequestFactory().post("/tus/")
    made.environ |= {"wsgi.input": stream, "CONTENT_LENGTH": ""} | environ
    return made


class NotingStream(io.BytesIO):
    """Remembers how much was asked of it at once."""

    largest = 0

    def read(self, size: int | None = -1, /) -> bytes:
        self.largest = max(self.largest, size or 0)
        return super().read(size)


def test_a_body_of_any_size_is_read_in_small_pieces() -> None:
    stream = NotingStream(bytes(3 * body.PIECE_BYTES + 7))

    pieces = list(body.pieces(request(stream, CONTENT_LENGTH=str(3 * body.PIECE_BYTES + 7)), 10**9))

    assert [len(piece) for piece in pieces] == [body.PIECE_BYTES] * 3 + [7]
    assert stream.largest == body.PIECE_BYTES


def test_no_more_is_read_than_was_announced() -> None:
    stream = io.BytesIO(b"0123456789 the next request")

    assert b"".join(body.pieces(request(stream, CONTENT_LENGTH="10"), 100)) == b"0123456789"


def test_more_than_may_come_is_refused_before_anything_is_read() -> None:
    stream = io.BytesIO(b"0123456789")

    with pytest.raises(TooLargeError):
        body.pieces(request(stream, CONTENT_LENGTH="10"), 9)
    assert stream.tell() == 0


def test_a_chunked_body_has_no_length_and_is_read_to_its_end() -> None:
    chunked = {"HTTP_TRANSFER_ENCODING": "chunked"}

    assert b"".join(body.pieces(request(io.BytesIO(b"0123456789"), **chunked), 10)) == b"0123456789"
    with pytest.raises(TooLargeError):
        list(body.pieces(request(io.BytesIO(b"0123456789+"), **chunked), 10))


def test_a_connection_that_drops_ends_the_pieces_quietly() -> None:
    class Dropping(io.BytesIO):
        def read(self, size: int | None = -1, /) -> bytes:
            if self.tell():
                raise ConnectionResetError
            return super().read(4)

    assert list(body.pieces(request(Dropping(b"01234567"), CONTENT_LENGTH="8"), 8)) == [b"0123"]


def test_a_connection_that_ends_early_ends_the_pieces() -> None:
    assert list(body.pieces(request(io.BytesIO(b"0123"), CONTENT_LENGTH="8"), 8)) == [b"0123"]


def test_a_silent_connection_is_given_up_after_a_while() -> None:
    class Socket:
        timeout = 0.0

        def settimeout(self, seconds: float) -> None:
            self.timeout = seconds

    socket = Socket()
    list(body.pieces(request(io.BytesIO(b""), CONTENT_LENGTH="0", **{"gunicorn.socket": socket}), 8))

    assert socket.timeout == body.LONGEST_SILENCE_S


@pytest.mark.parametrize("length", ["-1", "ten", "1.5"])
def test_a_length_that_is_none_is_refused(length: str) -> None:
    with pytest.raises(BadRequestError):
        body.pieces(request(io.BytesIO(b""), CONTENT_LENGTH=length), 8)

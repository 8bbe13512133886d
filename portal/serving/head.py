"""The little that has to be known of a request before a thread reads it. Gunicorn parses it again, and strictly."""

import re
from dataclasses import dataclass

END = b"\r\n\r\n"
# A line that starts with a space continues the one before (RFC 9112, 5.2): gunicorn refuses it, so no need to read it.
FIELD = re.compile(rb"^([!#$%&'*+.^_`|~0-9A-Za-z-]+):[ \t]*(.*?)[ \t]*\r$", re.MULTILINE)
STATIC = re.compile(rb"(GET|HEAD) /static/[^ ]* HTTP/")
LONGEST_NUMBER = 18
BYTES_TYPE = b"application/offset+octet-stream"


@dataclass(frozen=True)
class Head:
    """`body_bytes` is None where the length is not said beforehand, or cannot be read."""

    length_bytes: int
    body_bytes: int | None
    carries_upload: bool
    expects_continue: bool
    forwarded_for: str
    is_static: bool


def read_head(received: bytes | bytearray) -> Head | None:
    """None as long as the blank line has not arrived."""
    end = received.find(END)
    if end < 0:
        return None
    fields: dict[bytes, list[bytes]] = {}
    for name, value in FIELD.findall(bytes(received[: end + 2])):
        fields.setdefault(name.lower(), []).append(value)
    return Head(
        length_bytes=end + len(END),
        body_bytes=_body_bytes(fields),
        carries_upload=BYTES_TYPE in fields.get(b"content-type", []),
        expects_continue=[value.lower() for value in fields.get(b"expect", [])] == [b"100-continue"],
        is_static=STATIC.match(received) is not None,
        forwarded_for=",".join(value.decode("latin-1") for value in fields.get(b"x-forwarded-for", [])),
    )


def _body_bytes(fields: dict[bytes, list[bytes]]) -> int | None:
    if b"transfer-encoding" in fields:
        return None
    lengths = fields.get(b"content-length", [b"0"])
    if len(lengths) != 1 or not lengths[0].isdigit() or len(lengths[0]) > LONGEST_NUMBER:
        return None
    return int(lengths[0])

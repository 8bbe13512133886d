"""The request headers of tus 1.0.0, read strictly: what cannot be read is refused, never guessed."""

from __future__ import annotations

import base64
import binascii
import hashlib
from dataclasses import dataclass
from datetime import datetime

from django.http import HttpRequest
from django.utils.http import http_date

from portal.clean_text import clean
from portal.uploads.errors import BadRequestError, WrongContentTypeError, WrongVersionError

VERSION = "1.0.0"
EXTENSIONS = "creation,creation-with-upload,checksum,expiration,termination,concatenation"
CHECKSUM_ALGORITHMS = ("sha1", "sha256")
BYTES_TYPE = "application/offset+octet-stream"
LONGEST_NUMBER = 18
LONGEST_METADATA = 4_000
LONGEST_CONCAT = 8_000
PARTIAL = "partial"
FINAL = "final;"


@dataclass(frozen=True)
class Checksum:
    algorithm: str
    digest: bytes


@dataclass(frozen=True)
class Concat:
    """`partial`, or `final;` and the addresses of the partial uploads in order. `raw` is told again as it came."""

    raw: str
    addresses: tuple[str, ...]


def method_of(request: HttpRequest) -> str:
    """The method that counts. The cross-site check looks at the real one, and lets all that read pass, TRACE too."""
    real, named = request.method or "", request.headers.get("X-HTTP-Method-Override", "")
    if not named:
        return real
    if real != "POST":
        raise BadRequestError("X-HTTP-Method-Override is allowed only with POST.")
    return named.upper()


def check_version(request: HttpRequest) -> None:
    if request.headers.get("Tus-Resumable") != VERSION:
        raise WrongVersionError(f"This server supports tus {VERSION}.")


def check_bytes_type(request: HttpRequest) -> None:
    if request.content_type != BYTES_TYPE:
        raise WrongContentTypeError(f"The content type must be {BYTES_TYPE}.")


def number(request: HttpRequest, name: str) -> int:
    """A whole number that is not negative."""
    text = request.headers.get(name, "")
    if not (text.isascii() and text.isdigit()) or len(text) > LONGEST_NUMBER:
        raise BadRequestError(f"{name} must be a whole number.")
    return int(text)


def length(request: HttpRequest) -> int:
    """The length of the file to come; we need to know it beforehand, so deferring it is not offered."""
    if "Upload-Defer-Length" in request.headers:
        raise BadRequestError("Upload-Length is required when the upload is created.")
    return number(request, "Upload-Length")


def metadata(request: HttpRequest) -> dict[str, str]:
    """`key base64value` pairs. Values are bytes from a stranger: what is not UTF-8 shows as replacement marks."""
    raw = request.headers.get("Upload-Metadata", "")
    if len(raw) > LONGEST_METADATA:
        raise BadRequestError("Upload-Metadata is too long.")
    pairs: dict[str, str] = {}
    for part in filter(None, (part.strip(" ") for part in raw.split(","))):
        key, _, value = part.partition(" ")
        if not key.isascii() or key in pairs:
            raise BadRequestError("Upload-Metadata must have each key once, in ASCII.")
        pairs[key] = clean(decode(value, "Upload-Metadata").decode("utf-8", errors="replace"))
    return pairs


def concat(request: HttpRequest) -> Concat | None:
    raw = request.headers.get("Upload-Concat")
    if raw is None:
        return None
    addresses = tuple(raw.removeprefix(FINAL).split(" ")) if raw.startswith(FINAL) else ()
    if len(raw) > LONGEST_CONCAT or not (raw == PARTIAL or (addresses and all(addresses))):
        raise BadRequestError("Upload-Concat must be partial, or final; and the addresses of the parts.")
    if addresses and "Upload-Length" in request.headers:
        raise BadRequestError("The length of a joined upload is the sum of its parts: leave out Upload-Length.")
    return Concat(raw, addresses)


def checksum(request: HttpRequest) -> Checksum | None:
    raw = request.headers.get("Upload-Checksum")
    if raw is None:
        return None
    algorithm, _, value = raw.partition(" ")
    if algorithm not in CHECKSUM_ALGORITHMS:
        raise BadRequestError(f"The checksum algorithm must be one of {', '.join(CHECKSUM_ALGORITHMS)}.")
    digest = decode(value, "Upload-Checksum")
    # sha1 is the protocol's own check against damage on the way; nobody's trust rests on it.
    if len(digest) != hashlib.new(algorithm, usedforsecurity=False).digest_size:
        raise BadRequestError("Upload-Checksum has the wrong length.")
    return Checksum(algorithm, digest)


def decode(value: str, name: str) -> bytes:
    try:
        return base64.b64decode(value, validate=True)
    except (binascii.Error, ValueError) as error:
        raise BadRequestError(f"{name} is not valid Base64.") from error


def expires(moment: datetime) -> str:
    return http_date(moment.timestamp())

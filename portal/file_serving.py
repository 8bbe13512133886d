"""Sending stored files to people, and lending them to workers.

One file, three houses: on a local disk Python sends it with ranges (RFC 9110, section 14), so that a download resumes
and a player can jump; behind nginx an `X-Accel-Redirect` hands it over; in an S3 store an address is signed for a few
minutes, for nginx to fetch or, without it, for the browser to go to. A key names its content for good (nothing is
written over): it makes the tag.
"""

from __future__ import annotations

import hashlib
import io
import re
import shutil
import unicodedata
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import Any, BinaryIO, cast
from urllib.parse import quote, urlsplit

from django.conf import settings
from django.core.files.storage import default_storage
from django.http import (
    Http404,
    HttpRequest,
    HttpResponse,
    HttpResponseBase,
    HttpResponseRedirect,
    StreamingHttpResponse,
)

from portal.clean_text import BIDI_CONTROLS
from portal.job_folders import job_folder

CHUNK_BYTES = 256 * 1024
CONTENT_TYPES = {
    ".wav": "audio/wav",
    ".flac": "audio/flac",
    ".mp3": "audio/mpeg",
    ".mid": "audio/midi",
    ".zip": "application/zip",
}
UNKNOWN_TYPE = "application/octet-stream"
# RFC 9110, 14.1.2: "bytes=500-999", "bytes=500-" or "bytes=-500". Lists of ranges may be answered with the whole.
ONE_RANGE = re.compile(r"\s*bytes\s*=\s*(\d{0,18})\s*-\s*(\d{0,18})\s*\Z", re.ASCII)
# RFC 8187, 3.2.1: what a name in an extended parameter may hold as it is.
ATTRIBUTE_CHARACTERS = "!#$&+-.^_`|~"

ReadBytes = Callable[[int, int], Iterator[bytes]]


def serve(
    request: HttpRequest,
    *,
    key: str,
    file_name: str,
    content_type: str | None = None,
    inline: bool = False,
    counted: Callable[[ReadBytes], ReadBytes] | None = None,
) -> HttpResponseBase:
    """Send a stored file. The caller has looked up that this person may have it. `counted` wraps what reads its bytes,
    where this process sends them itself.
    """
    content_type = content_type or CONTENT_TYPES.get(PurePosixPath(file_name).suffix.lower(), UNKNOWN_TYPE)
    disposition = content_disposition(file_name, inline=inline)
    if settings.S3_BUCKET:
        address = _signed_address(request, key=key, content_type=content_type, disposition=disposition)
        if not settings.ACCEL_PREFIX:
            return _redirect(address)
        signed = urlsplit(address)
        return _hand_over(f"{signed.path}?{signed.query}", content_type=content_type, disposition=disposition)
    if settings.ACCEL_PREFIX:
        return _hand_over(quote(key), content_type=content_type, disposition=disposition)
    path = Path(default_storage.path(key))
    try:
        length_bytes = path.stat().st_size
    except FileNotFoundError as error:
        raise Http404("The file is not in the store.") from error

    def read(start: int, stop: int) -> Iterator[bytes]:
        return read_file(path, start, stop)

    return send_bytes(
        request,
        read=counted(read) if counted else read,
        length_bytes=length_bytes,
        etag=tag_of(key),
        content_type=content_type,
        disposition=disposition,
    )


def send_bytes(
    request: HttpRequest, *, read: ReadBytes, length_bytes: int, etag: str, content_type: str, disposition: str
) -> HttpResponseBase:
    """Answer GET, HEAD, Range, If-Range and If-None-Match over anything that can read from one byte to another."""
    response: HttpResponseBase
    if etag in _tags(request.headers.get("If-None-Match", "")):
        response = HttpResponse(status=304)
        response.headers["ETag"] = etag
        return response
    wanted = _wanted_range(request, length_bytes=length_bytes, etag=etag)
    if wanted is not None and wanted[0] >= wanted[1]:
        response = HttpResponse(status=416, content_type=content_type)
        response.headers["Content-Range"] = f"bytes */{length_bytes}"
        return _dress(response, disposition=disposition, etag=etag)
    start, stop = wanted or (0, length_bytes)
    if request.method == "HEAD":
        response = HttpResponse(content_type=content_type)
    else:
        response = StreamingHttpResponse(read(start, stop), status=206 if wanted else 200, content_type=content_type)
    response.headers["Content-Length"] = str(stop - start)
    if wanted:
        response.headers["Content-Range"] = f"bytes {start}-{stop - 1}/{length_bytes}"
    return _dress(response, disposition=disposition, etag=etag)


def read_file(path: Path, start: int, stop: int) -> Iterator[bytes]:
    with path.open("rb") as file:
        file.seek(start)
        while start < stop:
            chunk = file.read(min(CHUNK_BYTES, stop - start))
            if not chunk:
                return
            start += len(chunk)
            yield chunk


def read_stored(key: str, start: int, stop: int) -> Iterator[bytes]:
    """The bytes of a stored file from `start` up to, not including, `stop`, wherever the store is."""
    if not settings.S3_BUCKET:
        yield from read_file(Path(default_storage.path(key)), start, stop)
        return
    stored = cast(Any, default_storage).bucket.Object(key).get(Range=f"bytes={start}-{stop - 1}")
    yield from stored["Body"].iter_chunks(CHUNK_BYTES)


def tag_of(*names: str) -> str:
    """A strong entity tag for what these names stand for."""
    return f'"{hashlib.sha256(chr(0).join(names).encode()).hexdigest()[:32]}"'


def content_disposition(file_name: str, *, inline: bool = False) -> str:
    """Name the file for saving: plain ASCII for old readers, the true name beside it (RFC 6266, RFC 8187)."""
    name = "".join(_safe_character(character) for character in file_name if character not in BIDI_CONTROLS)
    name = name.strip() or "file"
    plain = unicodedata.normalize("NFKD", name)
    plain = "".join(character for character in plain if not unicodedata.combining(character))
    plain = re.sub(r"[^\x20-\x7e]", "_", plain).replace("%", "_").replace('"', "_")
    kind = "inline" if inline else "attachment"
    header = f'{kind}; filename="{plain}"'
    return header if plain == name else f"{header}; filename*=UTF-8''{quote(name, safe=ATTRIBUTE_CHARACTERS)}"


class StoredFile(io.RawIOBase):
    """A file of a store that has no folder, read where it is wanted: each read is a request for that range."""

    def __init__(self, key: str) -> None:
        self.key, self.at, self.length_bytes = key, 0, int(default_storage.size(key))

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        base = {io.SEEK_SET: 0, io.SEEK_CUR: self.at, io.SEEK_END: self.length_bytes}[whence]
        self.at = max(0, base + offset)
        return self.at

    def readinto(self, buffer: Any) -> int:
        stop = min(self.at + len(buffer), self.length_bytes)
        if stop <= self.at:
            return 0
        content = b"".join(read_stored(self.key, self.at, stop))
        buffer[: len(content)] = content
        self.at += len(content)
        return len(content)


@contextmanager
def opened(key: str) -> Iterator[BinaryIO]:
    """A stored file to read parts of: never copied whole, wherever the store is."""
    if settings.S3_BUCKET:
        with io.BufferedReader(StoredFile(key), CHUNK_BYTES) as file:
            yield cast(BinaryIO, file)
        return
    with Path(default_storage.path(key)).open("rb") as file:
        yield file


@contextmanager
def local_copy(key: str) -> Iterator[Path]:
    """Lend a stored file to a worker as a file on this machine: itself, or a copy that is thrown away after."""
    try:
        stored_file = Path(default_storage.path(key))
    except NotImplementedError:
        with job_folder() as folder:
            copy = Path(folder, PurePosixPath(key).name)
            with default_storage.open(key, "rb") as stored, copy.open("wb") as file:
                shutil.copyfileobj(stored, file, CHUNK_BYTES)
            yield copy
        return
    yield stored_file


def _signed_address(request: HttpRequest, *, key: str, content_type: str, disposition: str) -> str:
    """Where an S3 store gives this file to whoever asks within a few minutes, by the method of this request."""
    return str(
        cast(Any, default_storage).url(
            key,
            parameters={"ResponseContentType": content_type, "ResponseContentDisposition": disposition},
            http_method=request.method,
        )
    )


def _redirect(address: str) -> HttpResponseBase:
    response = HttpResponseRedirect(address)
    # The address is for this person and for a few minutes: nobody in between keeps it.
    response.headers["Cache-Control"] = "no-store"
    return response


def _hand_over(path: str, *, content_type: str, disposition: str) -> HttpResponseBase:
    """Leave the sending to nginx, ranges included: `path` is where its internal location finds the bytes."""
    response = HttpResponse(content_type=content_type)
    response.headers["X-Accel-Redirect"] = settings.ACCEL_PREFIX + path.lstrip("/")
    return _dress(response, disposition=disposition)


def _dress(response: HttpResponseBase, *, disposition: str, etag: str = "") -> HttpResponseBase:
    response.headers["Content-Disposition"] = disposition
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Cache-Control"] = "private, no-cache"
    if etag:
        response.headers["ETag"] = etag
        response.headers["Accept-Ranges"] = "bytes"
    return response


def _wanted_range(request: HttpRequest, *, length_bytes: int, etag: str) -> tuple[int, int] | None:
    """The half-open range asked for, empty when it cannot be had, None when the whole is to be sent.

    Only GET knows ranges. A range of an older state (If-Range with another tag, or with a date: we state none) and a
    range that cannot be read are no errors: the whole is sent (RFC 9110, 13.1.5 and 14.2).
    """
    match = ONE_RANGE.match(request.headers.get("Range", ""))
    is_stale = request.headers.get("If-Range", etag).strip() != etag
    if request.method != "GET" or match is None or is_stale or match.group(1) == match.group(2) == "":
        return None
    first, last = match.groups()
    if not first:
        return max(0, length_bytes - int(last)), length_bytes
    if last and int(last) < int(first):
        return None
    return int(first), min(length_bytes, int(last) + 1) if last else length_bytes


def _tags(header: str) -> set[str]:
    return {tag.strip().removeprefix("W/") for tag in header.split(",")}


def _safe_character(character: str) -> str:
    return "_" if character in "/\\" or unicodedata.category(character) == "Cc" else character

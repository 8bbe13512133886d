"""What a file is, by its first bytes: names and their endings prove nothing."""

from __future__ import annotations

from dataclasses import dataclass

HEAD_BYTES = 4096  # house choice: enough to tell text from data


@dataclass(frozen=True)
class Content:
    """`container` of a file that may hold sound, or `is_called` (ends "This is ...") for one that cannot."""

    container: str | None = None
    is_called: str | None = None


_AUDIO_SIGNATURES: tuple[tuple[bytes, str], ...] = (
    (b"RF64", "rf64"),
    (b"BW64", "bw64"),
    (b"riff\x2e\x91\xcf\x11", "w64"),
    (b"caff", "caf"),
    (b"fLaC", "flac"),
    (b"OggS", "ogg"),
    (b"\x1aE\xdf\xa3", "matroska"),
)
_NOT_AUDIO_SIGNATURES: tuple[tuple[bytes, str], ...] = (
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
    (b"\xcf\xfa\xed\xfe", "a program"),
    (b"#!", "a script"),
    (b"%PDF-", "a PDF document"),
    (b"\x89PNG\r\n\x1a\n", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"PK\x03\x04", "a zip archive"),
    (b"PK\x05\x06", "a zip archive"),
    (b"\x1f\x8b", "a packed archive"),
    (b"BZh", "a packed archive"),
    (b"7z\xbc\xaf\x27\x1c", "a packed archive"),
    (b"Rar!\x1a\x07", "a packed archive"),
    (b"\xfd7zXZ\x00", "a packed archive"),
    (b"MThd", "a MIDI file"),
    (b"{\\rtf", "a text document"),
    (b"\xd0\xcf\x11\xe0", "an office document"),
    (b"SQLite format 3\x00", "a database"),
)


def identify(head: bytes, *, size_bytes: int) -> Content:
    """Name the content from its first `HEAD_BYTES` bytes."""
    if size_bytes == 0:
        return Content(is_called="empty")
    container = _audio_container(head)
    if container:
        return Content(container=container)
    for signature, is_called in _NOT_AUDIO_SIGNATURES:
        if head.startswith(signature):
            return Content(is_called=is_called)
    if _looks_like_markup(head):
        return Content(is_called="a web page or drawing")
    if _looks_like_text(head):
        return Content(is_called="a text file")
    return Content(is_called="an unknown kind of file")


def _audio_container(head: bytes) -> str | None:
    """The container that these first bytes open, or None."""
    form = head[8:12]
    if head[:4] in (b"RIFF", b"RIFX"):
        return "wav" if form == b"WAVE" else None
    if head[:4] == b"FORM":
        return {b"AIFF": "aiff", b"AIFC": "aifc"}.get(form)
    if head[4:8] == b"ftyp":
        return "mp4"
    for signature, container in _AUDIO_SIGNATURES:
        if head.startswith(signature):
            return container
    return _mpeg_container(head)


def _mpeg_container(head: bytes) -> str | None:
    if head[:3] == b"ID3":
        body = head[10 + _id3v2_body_bytes(head) :]
        return "flac" if body[:4] == b"fLaC" else _frame_container(body) or "mp3"
    # Some writers pad the start of the stream with zeros.
    return _frame_container(head)


def _frame_container(body: bytes) -> str | None:
    """MP3 or raw AAC by its frame header: eleven or twelve set bits, then layer, bit rate and rate that exist."""
    if len(body) < 4 or body[0] != 0xFF:
        return None
    if body[1] & 0xF6 == 0xF0:
        return "adts" if (body[2] >> 2) & 0x0F < 13 else None
    is_layer_3 = body[1] & 0xE6 == 0xE2
    has_rates = body[2] >> 4 != 0x0F and (body[2] >> 2) & 3 != 3
    return "mp3" if is_layer_3 and has_rates else None


def _id3v2_body_bytes(head: bytes) -> int:
    """Length of an ID3v2 tag after its 10-byte header: four bytes of seven bits."""
    size = 0
    for byte in head[6:10]:
        size = size << 7 | byte & 0x7F
    return size


def _looks_like_markup(head: bytes) -> bool:
    text = head.lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    return text.startswith((b"<!doctype", b"<html", b"<?xml", b"<svg", b"<head", b"<script"))


def _looks_like_text(head: bytes) -> bool:
    """Text has no control bytes besides white space, and decodes (a cut last character aside)."""
    if any(byte < 32 and byte not in b"\t\n\r\f\x1b" for byte in head):
        return False
    try:
        head[: max(1, len(head) - 4)].decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True

"""What a file's metadata and name say, by open standards: evidence to weigh against the sound, never to obey.

Broadcast chunk: EBU Tech 3285 v2. iXML has no schema on purpose, so it is searched, not validated.
"""

from __future__ import annotations

import re
import struct
from typing import Any, BinaryIO

from analysis.core.texts import clean_text
from analysis.media.chunks import Chunk

_MOST_BYTES = 2**20  # that are read of one chunk or tag (house choice)
Tags = dict[str, object]


def read_tags(file: BinaryIO, container: str, chunks: tuple[Chunk, ...], *, size_bytes: int) -> Tags:
    """All that the metadata says. Broken metadata says nothing; it is never a reason to refuse the sound."""
    tags: Tags = {}
    for chunk in chunks:
        read = _CHUNK_READERS.get(chunk.name)
        if read and chunk.size and chunk.offset + chunk.size <= size_bytes:
            file.seek(chunk.offset)
            tags |= read(file.read(min(chunk.size, _MOST_BYTES)))
    if container in ("mp3", "adts", "flac"):
        file.seek(0)
        tags |= id3_tags(file.read(_MOST_BYTES))
    return tags


def _text(raw: bytes) -> str:
    return clean_text(raw.partition(b"\0")[0].decode("utf-8", "replace"))


def _broadcast_tags(body: bytes) -> Tags:
    """EBU Tech 3285 v2: description 0/256, date 320/10, time 330/8, time reference 338/8 in samples since midnight."""
    if len(body) < 346:
        return {}
    tags: Tags = {
        "description": _text(body[:256]),
        "origination_date": _text(body[320:330]),
        "origination_time": _text(body[330:338]),
        "time_reference_frames": struct.unpack("<Q", body[338:346])[0],
    }
    return {name: value for name, value in tags.items() if value != ""}


_IXML_FIELDS = {
    "FILE_SAMPLE_RATE": "ixml_sample_rate_hz",
    "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO": "ixml_time_reference_low",
    "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI": "ixml_time_reference_high",
}
_IXML_TEXTS = {"NOTE": "ixml_note", "PROJECT": "ixml_project", "TAPE": "ixml_tape"}


def ixml_tags(body: bytes) -> Tags:
    """Fields found by name: no entity is expanded and nothing outside the chunk is read."""
    text = body.decode("utf-16" if body[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8", "replace")
    tags: Tags = {}
    for field, name in _IXML_FIELDS.items():
        if found := re.search(rf"<{field}>\s*(\d{{1,20}})\s*</{field}>", text):
            tags[name] = int(found[1])
    for field, name in _IXML_TEXTS.items():
        if found := re.search(rf"<{field}>([^<]{{1,500}})</{field}>", text):
            tags[name] = clean_text(found[1])
    return tags


def id3_tags(head: bytes) -> Tags:
    """Tempo, key and title of an ID3v2 tag (TBPM, TKEY, TIT2), versions 2.3 and 2.4."""
    if head[:3] != b"ID3" or len(head) < 10:
        return {}
    tags: Tags = {}
    offset = 10
    while offset + 10 <= len(head) and head[offset : offset + 4].isalnum():
        name = head[offset : offset + 4].decode("latin-1")
        size = _id3_frame_bytes(head[offset + 4 : offset + 8], version=head[3])
        if name in _ID3_TEXTS and 1 < size < 2000:
            tags[_ID3_TEXTS[name]] = _id3_text(head[offset + 10 : offset + 10 + size])
        offset += 10 + size
    return _with_bpm(tags)


_ID3_TEXTS = {"TBPM": "tag_bpm", "TKEY": "tag_key", "TIT2": "title"}
# ID3v2.4, section 4.
_ID3_ENCODINGS = {0: "latin-1", 1: "utf-16", 2: "utf-16-be", 3: "utf-8"}


def _id3_frame_bytes(raw: bytes, *, version: int) -> int:
    if version >= 4:
        return raw[0] << 21 | raw[1] << 14 | raw[2] << 7 | raw[3]
    return int.from_bytes(raw, "big")


def _id3_text(body: bytes) -> str:
    encoding = _ID3_ENCODINGS.get(body[0], "latin-1") if body else "latin-1"
    return clean_text(body[1:].decode(encoding, "replace"))


def _with_bpm(tags: Tags) -> Tags:
    value = _bpm(str(tags.pop("tag_bpm", "")).partition("/")[0])
    return tags | ({"tag_bpm": value} if value else {})


def _bpm(text: str) -> float | None:
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError:
        return None
    return value if _SLOWEST_BPM <= value <= _FASTEST_BPM else None


# Beyond these a number is no tempo (house choice).
_SLOWEST_BPM, _FASTEST_BPM = 20.0, 400.0

_CHUNK_READERS: dict[str, Any] = {"bext": _broadcast_tags, "iXML": ixml_tags, "id3 ": id3_tags, "ID3 ": id3_tags}

_NAMED_BPM = re.compile(
    r"(?<![\d.])(\d{2,3}(?:[.,]\d{1,3})?)[ _-]?bpm(?![a-z])|bpm[ _-]?(\d{2,3}(?:[.,]\d{1,3})?)(?!\d)", re.I
)
_NAMED_RATE = re.compile(r"(?<![\d.])(44[.,_]?1|48|88[.,_]?2|96|176[.,_]?4|192)[ ]?k(?:hz)?(?![a-z])", re.I)
_NAMED_KEY = re.compile(r"(?<![A-Za-z])([A-G][#b]?)[ _-]?(maj|min|major|minor|m)(?![a-z])")


def name_hints(name: str) -> Tags:
    """Tempo, rate and key that people write into file names ("SONG_bass_112bpm_48k")."""
    hints: Tags = {}
    if (found := _NAMED_BPM.search(name)) and (value := _bpm(found[1] or found[2])):
        hints["name_bpm"] = value
    if found := _NAMED_RATE.search(name):
        hints["name_sample_rate_hz"] = _named_rate_hz(found[1])
    if found := _NAMED_KEY.search(name):
        hints["name_key"] = f"{found[1]} {'major' if found[2].startswith('maj') else 'minor'}"
    return hints


def _named_rate_hz(text: str) -> int:
    digits = re.sub(r"[.,_]", "", text)
    return int(digits) * (100 if digits in ("441", "882", "1764") else 1000)

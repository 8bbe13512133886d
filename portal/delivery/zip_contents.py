"""A checked set as its zip: the tracks, a track sheet and a list of hashes, in one folder."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from datetime import UTC
from functools import partial

from portal.delivery.models import Delivery, DeliveryFile
from portal.delivery.names import HASHES_NAME, TRACK_SHEET_NAME
from portal.delivery.track_sheet import hash_list, track_sheet
from portal.file_serving import read_stored, tag_of
from portal.titles import plain_title
from portal.zip_stream import Archive, Member, fixed_member, lay_out


def folder_of(delivery: Delivery) -> str:
    return f"{plain_title(delivery.song.title)}_delivery-{delivery.number}"


def zip_of(delivery: Delivery, *, only: Sequence[DeliveryFile] | None = None) -> tuple[Archive, str] | None:
    """The zip and its entity tag; None as long as a file was not read through, which the check does. With `only`, these
    files alone: the track sheet is of the whole set, the hashes are of what is inside.
    """
    every = list(delivery.files.current())
    files = every if only is None else list(only)
    if not files or any(file.crc32 is None for file in files):
        return None
    folder = folder_of(delivery)
    texts = {TRACK_SHEET_NAME: track_sheet(delivery, every), HASHES_NAME: hash_list(files)}
    made_at = (delivery.released_at or delivery.opened_at).astimezone(UTC)
    members = [*_texts(folder, texts), *(_track(folder, file) for file in files)]
    names = (folder, made_at.isoformat(), *texts.values(), *(f"{file.name}:{file.sha256}" for file in files))
    return lay_out(members, made_at=made_at), tag_of(*names)


def _texts(folder: str, texts: dict[str, str]) -> Sequence[Member]:
    contents = {name: text.encode() for name, text in texts.items()}
    return [fixed_member(f"{folder}/{name}", content, crc32=zlib.crc32(content)) for name, content in contents.items()]


def _track(folder: str, file: DeliveryFile) -> Member:
    read = partial(read_stored, file.key)
    return Member(f"{folder}/{file.name}", file.size_bytes, file.crc32 or 0, read)

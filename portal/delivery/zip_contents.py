"""A checked set as its zip: the tracks, the papers of its sheet and a list of hashes, in one folder."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from datetime import UTC
from functools import partial

from portal.delivery.models import Delivery, DeliveryFile
from portal.delivery.names import HASHES_NAME
from portal.delivery.sheet.papers import hash_list, papers_of
from portal.file_serving import read_stored, tag_of
from portal.titles import plain_title
from portal.zip_stream import Archive, Member, fixed_member, lay_out


def folder_of(delivery: Delivery) -> str:
    return f"{plain_title(delivery.song.title)}_delivery-{delivery.number}"


def zip_of(delivery: Delivery, *, only: Sequence[DeliveryFile] | None = None) -> tuple[Archive, str] | None:
    """The zip and its entity tag; None as long as a file was not read through, which the check does. With `only`, these
    files alone: the sheet is of the whole set, the hashes are of what is inside.
    """
    every = list(delivery.files.current())
    files = every if only is None else list(only)
    if not files or any(file.crc32 is None for file in files):
        return None
    folder, papers, hashes = folder_of(delivery), papers_of(delivery), hash_list(files).encode()
    made_at = (delivery.released_at or delivery.opened_at).astimezone(UTC)
    members = [
        *(Member(f"{folder}/{paper.name}", paper.size_bytes, paper.crc32, paper.read) for paper in papers),
        fixed_member(f"{folder}/{HASHES_NAME}", hashes, crc32=zlib.crc32(hashes)),
        *(_track(folder, file) for file in files),
    ]
    contents = [f"{paper.name}:{paper.sha256}" for paper in papers] + [f"{file.name}:{file.sha256}" for file in files]
    return lay_out(members, made_at=made_at), tag_of(folder, made_at.isoformat(), hashes.decode(), *contents)


def _track(folder: str, file: DeliveryFile) -> Member:
    read = partial(read_stored, file.key)
    return Member(f"{folder}/{file.name}", file.size_bytes, file.crc32 or 0, read)

"""The papers that lie beside the tracks of a set: text, data, PDF and photographs.

Of a set that went out they are made once and kept: what was handed over stays what it was.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from django.core.files.storage import default_storage

from portal.delivery.models import Delivery, DeliveryFile, KitPhoto
from portal.delivery.names import PDF_NAME, PHOTO_NAME, SHEET_NAME, TEXT_NAME
from portal.delivery.sheet.data import sheet_of
from portal.delivery.sheet.text import sheet_text
from portal.file_serving import ReadBytes, read_stored
from portal.job_folders import job_folder
from portal.uploads import originals, parts

PLACE = "papers"


@dataclass(frozen=True)
class Paper:
    """`read` gives a stretch of its bytes."""

    name: str
    sha256: str
    size_bytes: int
    crc32: int
    read: ReadBytes

    def content(self) -> bytes:
        return b"".join(self.read(0, self.size_bytes))


def papers_of(delivery: Delivery) -> tuple[Paper, ...]:
    kept = delivery.papers if not delivery.is_open else []
    if not kept and not delivery.is_open:
        kept = keep_papers(delivery)
    photos = tuple(_photo(number, photo) for number, photo in enumerate(delivery.photos.all(), start=1))
    if kept:
        return (*(_kept(paper) for paper in kept), *photos)
    return (*(_fresh(name, content) for name, content in made(delivery).items()), *photos)


def keep_papers(delivery: Delivery) -> list[dict[str, Any]]:
    """Into the store, under the name of their content: made twice at once they are the same."""
    kept = []
    for name, content in made(delivery).items():
        sha256 = hashlib.sha256(content).hexdigest()
        key = f"{PLACE}/{sha256[:2]}/{sha256}"
        with job_folder() as folder, parts.locked(sha256):
            path = Path(folder, "paper")
            path.write_bytes(content)
            originals.store(path, key=key, sha256=sha256)
        facts = {"size_bytes": len(content), "crc32": zlib.crc32(content)}
        kept.append({"name": name, "key": key, "sha256": sha256} | facts)
    delivery.keep_papers(kept)
    return kept


def made(delivery: Delivery) -> dict[str, bytes]:
    """By their names, from what the rows say now."""
    from analysis.handover import pdf_of_sheet

    files = list(delivery.files.current().select_related("sent_by"))
    photos = list(delivery.photos.all())
    sheet = sheet_of(delivery, files, photo_names(photos))
    pictures = [_stored(photo) for photo in photos]
    return {
        TEXT_NAME: sheet_text(delivery, files).encode(),
        PDF_NAME: pdf_of_sheet(sheet, pictures),
        SHEET_NAME: (json.dumps(sheet.to_json(), ensure_ascii=False, indent=1) + "\n").encode(),
    }


def json_of(delivery: Delivery) -> bytes:
    return _named(delivery, SHEET_NAME)


def pdf_of(delivery: Delivery) -> bytes:
    return _named(delivery, PDF_NAME)


def _named(delivery: Delivery, name: str) -> bytes:
    return next(paper.content() for paper in papers_of(delivery) if paper.name == name)


def photo_names(photos: Sequence[KitPhoto]) -> list[str]:
    return [PHOTO_NAME.format(number=number) for number in range(1, len(photos) + 1)]


def _stored(photo: KitPhoto) -> bytes:
    with default_storage.open(photo.key, "rb") as file:
        return bytes(file.read())


def _photo(number: int, photo: KitPhoto) -> Paper:
    name = PHOTO_NAME.format(number=number)
    return Paper(name, photo.sha256, photo.size_bytes, photo.crc32, partial(read_stored, photo.key))


def _kept(paper: dict[str, Any]) -> Paper:
    facts = {name: paper[name] for name in ("name", "sha256", "size_bytes", "crc32")}
    return Paper(**facts, read=partial(read_stored, paper["key"]))


def _fresh(name: str, content: bytes) -> Paper:
    def read(start: int, stop: int) -> Any:
        return iter((content[start:stop],))

    return Paper(name, hashlib.sha256(content).hexdigest(), len(content), zlib.crc32(content), read)


def hash_list(files: Sequence[DeliveryFile]) -> str:
    """One line for each file: its SHA-256, two spaces, its name; the form that common tools check."""
    return "".join(f"{file.sha256}  {file.name}\n" for file in files)

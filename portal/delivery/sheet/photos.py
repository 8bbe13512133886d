"""Photographs of the kit: taken in, written anew in a child, shown and removed while the set is open."""

from __future__ import annotations

import zlib
from pathlib import Path

from django.core.files.uploadedfile import UploadedFile
from django.db import transaction

from analysis.core import UnusableFileError
from analysis.sandbox import write_picture_in_child
from portal.delivery.errors import PhotoError
from portal.delivery.models import Delivery, KitPhoto
from portal.delivery.services import locked_open
from portal.job_folders import job_folder
from portal.people.models import User
from portal.sizes import size_in_words
from portal.uploads import originals, parts

# House choices: one from the front and one from the stool, as large as a phone makes them.
MOST_PHOTOS = 2
LARGEST_BYTES = 20 * 2**20


def add_photo(*, delivery: Delivery, file: UploadedFile[bytes], by: User) -> KitPhoto:
    """What was sent is not kept. Raises PhotoError with a sentence."""
    if (file.size or 0) > LARGEST_BYTES:
        raise PhotoError(f"“{file.name}” is larger than {size_in_words(LARGEST_BYTES)}.")
    with job_folder() as folder:
        sent, new = Path(folder, "sent"), Path(folder, "kit.jpg")
        with sent.open("wb") as copy:
            for piece in file.chunks():
                copy.write(piece)
        try:
            picture = write_picture_in_child(sent, new)
        except UnusableFileError as error:
            raise PhotoError(f"“{file.name}” {error.reason}.") from error
        content, sha256 = new.read_bytes(), originals.hash_part(new)
        key = f"photos/{sha256[:2]}/{sha256}.jpg"
        with parts.locked(sha256):
            originals.store(new, key=key, sha256=sha256)
    with transaction.atomic():
        delivery = locked_open(delivery)
        if delivery.photos.count() >= MOST_PHOTOS:
            raise PhotoError(f"A sheet holds {MOST_PHOTOS} photographs. Remove one first.")
        return KitPhoto.objects.create(
            delivery=delivery,
            key=key,
            sha256=sha256,
            size_bytes=len(content),
            crc32=zlib.crc32(content),
            width=picture.width,
            height=picture.height,
            sent_by=by,
        )


@transaction.atomic
def remove_photo(*, photo: KitPhoto) -> None:
    """Off the sheet. The store keeps its bytes, as those of removed tracks."""
    locked_open(photo.delivery)
    photo.delete()

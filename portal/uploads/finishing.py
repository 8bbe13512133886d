"""Finishing an upload: all its bytes are there, so it is hashed, stored, read back and handed to its receiver."""

from __future__ import annotations

import contextlib
import hashlib
import logging
import uuid
from collections.abc import Iterable, Iterator

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import Http404

from portal.uploads import multipart, originals, parts, stretch_hashes
from portal.uploads.errors import PassingError, SpoiltError, StoreError, UploadGoneError, UploadRefusedError
from portal.uploads.local_part import LocalPart, part_path
from portal.uploads.models import Upload
from portal.uploads.receivers import receiver_for
from portal.uploads.stores import faults_told

SPOILT = "The file could not be stored. Please send it again."
PART_GONE = "A part of this file is missing. Please send the file again."
NO_PLACE = "You no longer have access to the page this file belongs to."

logger = logging.getLogger(__name__)


def finish(upload: Upload) -> None:
    """Store and hand on an upload whose bytes have all come. Safe to repeat: it happens once."""
    with parts.locked(upload.pk):
        upload.refresh_from_db()
        finish_locked(upload)


def finish_locked(upload: Upload) -> None:
    """Received means: on the disk, in the store under its hash, read back, and in the receiver's hands.

    The hash is noted before the part moves, so that a process killed in between finds the file again.
    """
    if not upload.is_finishable:
        return
    try:
        if upload.offset_bytes < upload.length_bytes:
            fill(upload)
        if not upload.sha256:
            hash_whole(upload)
        store(upload)
    except StoreError as error:
        logger.exception("upload %s: the store did not give back what it was given", upload.pk)
        if isinstance(error, SpoiltError) or not part_of(upload).is_there():
            give_back(upload, SPOILT)
        raise
    try:
        hand_on(upload)
    except UploadRefusedError as error:
        give_back(upload, error.sentence)
        raise
    except (Http404, PermissionDenied) as error:
        give_back(upload, NO_PLACE)
        raise UploadRefusedError(NO_PLACE) from error
    remove_bytes(upload)
    logger.info("upload %s: received", upload.pk)


def hash_whole(upload: Upload) -> None:
    """Read what is stored once, from its first byte to its last: it has to be what came, and its hash is its name."""
    seen, part = hashlib.sha256(), part_of(upload)
    with faults_told():
        for piece in stretch_hashes.compared(upload.pk, part.pieces()):
            seen.update(piece)
    sha256 = seen.hexdigest()
    upload.note_content(sha256=sha256, key=originals.key_for(sha256))


def store(upload: Upload) -> None:
    """Move the part to its place. The same content may arrive twice in one moment: neither may touch what the other has
    just stored.
    """
    with parts.locked(upload.sha256), faults_told():
        part_of(upload).place(key=upload.key, sha256=upload.sha256)
        parts.lock_path(upload.sha256).unlink()


def part_of(upload: Upload) -> parts.Part:
    """Where its bytes wait. Partial uploads and what is joined from them are files here, whatever the store."""
    if settings.S3_BUCKET and not upload.concat and upload.length_bytes > multipart.PART_BYTES:
        return multipart.MultipartPart(upload)
    return LocalPart(upload.pk)


def fill(upload: Upload) -> None:
    """Join the partial uploads, going on where a killed process stopped."""
    part_ids = [uuid.UUID(part_id) for part_id in upload.parts]
    if not all(LocalPart(part_id).is_there() for part_id in part_ids):
        give_back(upload, PART_GONE)
        raise UploadGoneError(PART_GONE)
    joined = (piece for part_id in part_ids for piece in stretch_hashes.compared(part_id, LocalPart(part_id).pieces()))
    with faults_told():
        parts.append(upload, part_of(upload), from_offset(joined, upload.offset_bytes))


def from_offset(pieces: Iterable[bytes], offset: int) -> Iterator[bytes]:
    for piece in pieces:
        if offset < len(piece):
            yield piece[offset:]
        offset = max(0, offset - len(piece))


def give_back(upload: Upload, reason: str) -> None:
    upload.refuse(reason=reason)
    remove_bytes(upload)


def remove_bytes(upload: Upload) -> None:
    """Nothing of an upload that is over stays in the upload folder. What a fault leaves, the sweep finds."""
    parts_of_it = Upload.objects.filter(pk__in=upload.parts, state=Upload.State.OPEN)
    for upload_id in [upload.pk, *parts_of_it.values_list("pk", flat=True)]:
        forget(upload_id)
    with contextlib.suppress(PassingError), faults_told():
        part_of(upload).remove()
    parts_of_it.update(state=Upload.State.JOINED)


def forget(upload_id: uuid.UUID) -> None:
    for path in (part_path(upload_id), stretch_hashes.path_of(upload_id), parts.lock_path(upload_id)):
        path.unlink(missing_ok=True)


@transaction.atomic
def hand_on(upload: Upload) -> None:
    upload.receive()
    receiver_for(upload.purpose).receive(upload=upload)

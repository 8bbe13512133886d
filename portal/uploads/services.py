"""Making, filling, finishing and ending uploads."""

from __future__ import annotations

import logging
import shutil
import uuid
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.db.models import F, Sum
from django.http import Http404
from django.template.defaultfilters import filesizeformat
from django.utils import timezone

from portal.people.models import User
from portal.uploads import file_names, originals, parts
from portal.uploads.body import PIECE_BYTES
from portal.uploads.errors import (
    ChecksumMismatchError,
    NoRoomError,
    OffsetConflictError,
    StoreError,
    TooLargeError,
    UploadFinishedError,
    UploadGoneError,
    UploadRefusedError,
)
from portal.uploads.headers import Checksum
from portal.uploads.models import Upload
from portal.uploads.receivers import receiver_for

# An upload that nobody went on with for so long is given up.
KEPT_OPEN = timedelta(days=7)
NO_PLACE = "The place that this file was meant for is not open to you any more."

Pieces = Callable[[int], Iterable[bytes]]

logger = logging.getLogger(__name__)


def create(
    *, user: User, purpose: str, target_id: int, file_name: str, length_bytes: int, metadata: str = ""
) -> Upload:
    """Open an upload, or refuse it in one sentence before a byte of it has come."""
    name = file_names.clean(file_name)
    check_length(length_bytes)
    receiver_for(purpose).check(user=user, target_id=target_id, file_name=name, length_bytes=length_bytes)
    check_room(length_bytes)
    return Upload.objects.create(
        owner=user,
        purpose=purpose,
        target_id=target_id,
        file_name=name,
        metadata=metadata,
        length_bytes=length_bytes,
    )


def check_length(length_bytes: int) -> None:
    largest = settings.LARGEST_UPLOAD_BYTES
    if length_bytes > largest:
        raise TooLargeError(
            f"This file has {filesizeformat(length_bytes)}; one file may have up to {filesizeformat(largest)}."
        )


def check_room(length_bytes: int) -> None:
    """Count what open uploads are still to bring as well: refused at the start, not at 97 %."""
    folder = Path(settings.UPLOAD_DIR)
    folder.mkdir(parents=True, exist_ok=True)
    to_come = Upload.objects.filter(state=Upload.State.OPEN).aggregate(
        bytes=Sum(F("length_bytes") - F("offset_bytes"))
    )["bytes"]
    free = shutil.disk_usage(folder).free - (to_come or 0)
    if free - length_bytes < settings.UPLOAD_DISK_RESERVE_BYTES:
        raise NoRoomError(
            "The server has no room for this file at the moment. Nothing was sent; please tell the house."
        )


def append(*, upload: Upload, at_offset: int, pieces: Pieces, checksum: Checksum | None = None) -> Upload:
    """Add bytes at the upload's end, and finish it when they are the last. `pieces` is told how many may come."""
    with parts.locked(upload.pk):
        upload.refresh_from_db()
        check_open(upload)
        if at_offset != upload.offset_bytes:
            raise OffsetConflictError(f"This file stands at {upload.offset_bytes} bytes, not at {at_offset}.")
        if upload.state == Upload.State.OPEN:
            at_most = upload.length_bytes - upload.offset_bytes
            parts.append(upload, pieces(at_most), checksum=checksum)
            finish_locked(upload)
    return upload


def begin(*, upload: Upload, pieces: Pieces, checksum: Checksum | None = None) -> None:
    """The bytes that came with the creation. When they are refused the sender gets no address, so nothing is left."""
    try:
        append(upload=upload, at_offset=0, pieces=pieces, checksum=checksum)
    except (TooLargeError, ChecksumMismatchError):
        end(upload)
        raise


def check_open(upload: Upload) -> None:
    """Expired and refused uploads are gone; the sender starts anew."""
    if upload.state == Upload.State.REFUSED:
        raise UploadGoneError(upload.refusal)
    if upload.state == Upload.State.EXPIRED or is_expired(upload):
        raise UploadGoneError("This upload was left alone for too long. Please send the file again.")


def is_expired(upload: Upload) -> bool:
    return upload.state == Upload.State.OPEN and timezone.now() >= expires_at(upload)


def expires_at(upload: Upload) -> datetime:
    return upload.touched_at + KEPT_OPEN


def finish(upload: Upload) -> None:
    """Store and hand on an upload whose bytes have all come. Safe to repeat: it happens once."""
    with parts.locked(upload.pk):
        upload.refresh_from_db()
        finish_locked(upload)


def finish_locked(upload: Upload) -> None:
    """Received means: on the disk, in the store under its hash, read back, and in the receiver's hands.

    The hash is noted before the part moves, so that a process killed in between finds the file again.
    """
    if upload.state != Upload.State.OPEN or upload.offset_bytes < upload.length_bytes:
        return
    if not upload.sha256:
        part = parts.part_path(upload.pk)
        part.touch()
        sha256 = originals.hash_part(part)
        upload.note_content(sha256=sha256, key=originals.key_for(sha256))
    store(upload)
    try:
        hand_on(upload)
    except UploadRefusedError as error:
        upload.refuse(reason=error.sentence)
        raise
    except (Http404, PermissionDenied) as error:
        upload.refuse(reason=NO_PLACE)
        raise UploadRefusedError(NO_PLACE) from error
    finally:
        parts.remove(upload.pk)
    logger.info("upload %s: received", upload.pk)


def store(upload: Upload) -> None:
    """Move the part into the store. When the store spoilt it and the part is gone, only the sender can help."""
    part = parts.part_path(upload.pk)
    try:
        # The same content may arrive twice in one moment: neither may touch what the other has just stored.
        with parts.locked(upload.sha256):
            originals.store(part, key=upload.key, sha256=upload.sha256)
            parts.lock_path(upload.sha256).unlink()
    except StoreError:
        logger.exception("upload %s: the store did not give back what it was given", upload.pk)
        if not part.exists():
            upload.refuse(reason="The file could not be stored whole. Please send it again.")
        raise


@transaction.atomic
def hand_on(upload: Upload) -> None:
    upload.receive()
    receiver_for(upload.purpose).receive(upload=upload)


def take_whole(*, user: User, purpose: str, target_id: int, uploaded_file: UploadedFile[bytes]) -> Upload:
    """Receive a file that came whole with a plain form."""
    upload = create(
        user=user,
        purpose=purpose,
        target_id=target_id,
        file_name=uploaded_file.name or "",
        length_bytes=uploaded_file.size or 0,
    )
    return append(upload=upload, at_offset=0, pieces=lambda _: uploaded_file.chunks(PIECE_BYTES))


def end(upload: Upload) -> None:
    """The sender gives the upload up. What was received stays: it is no longer ours to remove."""
    with parts.locked(upload.pk):
        upload.refresh_from_db()
        if upload.state == Upload.State.RECEIVED:
            raise UploadFinishedError("This file was received. It can be taken out on the page that it belongs to.")
        upload_id = upload.pk
        upload.delete()
        parts.remove(upload_id)


def give_up(upload_id: uuid.UUID) -> None:
    """Expire an upload that was left alone, unless somebody went on with it meanwhile."""
    with parts.locked(upload_id):
        upload = Upload.objects.get(pk=upload_id)
        if is_expired(upload) and upload.offset_bytes < upload.length_bytes:
            upload.expire()
            parts.remove(upload_id)

"""Making, filling, finishing and ending uploads."""

from __future__ import annotations

import contextlib
import hashlib
import logging
import uuid
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime, timedelta

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.http import Http404
from django.utils import timezone

from portal.people.models import User
from portal.uploads import file_names, multipart, originals, parts, quota, stretch_hashes
from portal.uploads.body import PIECE_BYTES
from portal.uploads.errors import (
    ChecksumMismatchError,
    OffsetConflictError,
    PassingError,
    SpoiltError,
    StoreError,
    TooLargeError,
    UploadFinishedError,
    UploadGoneError,
    UploadRefusedError,
)
from portal.uploads.headers import Checksum
from portal.uploads.local_part import LocalPart, part_path
from portal.uploads.models import PARTIAL, Upload
from portal.uploads.receivers import receiver_for
from portal.uploads.stores import faults_told

# An upload that nobody went on with for so long is given up.
KEPT_OPEN = timedelta(days=7)
SPOILT = "The file could not be stored whole. Please send it again."
PART_GONE = "A part of this file is not here any more. Please send the file again."
NO_PLACE = "The place that this file was meant for is not open to you any more."

Pieces = Callable[[int], Iterable[bytes]]

logger = logging.getLogger(__name__)


def create(
    *,
    user: User,
    purpose: str,
    target_id: int,
    file_name: str,
    length_bytes: int,
    metadata: str = "",
    concat: str = "",
    made_of: Sequence[Upload] = (),
) -> Upload:
    """Open an upload, or refuse it in one sentence before a byte of it has come."""
    name, part_ids = file_names.clean(file_name), [part.pk for part in made_of]
    quota.check_length(length_bytes)
    receiver = receiver_for(purpose)
    booking = receiver.check(user=user, target_id=target_id, file_name=name, length_bytes=length_bytes)
    quota.check_room(length_bytes)
    with transaction.atomic():
        if booking is not None:
            quota.check_booking(booking, length_bytes, without=part_ids)
        return Upload.objects.create(
            owner=user,
            booking=booking,
            purpose=purpose,
            target_id=target_id,
            file_name=name,
            metadata=metadata,
            length_bytes=length_bytes,
            concat=concat,
            parts=[str(part_id) for part_id in part_ids],
        )


def create_nameless_partial(*, user: User, length_bytes: int, metadata: str) -> Upload:
    """A piece of a file whose sender says only at the end what the whole is for."""
    quota.check_length(length_bytes)
    quota.check_partials(user, length_bytes)
    quota.check_room(length_bytes)
    return Upload.objects.create(
        owner=user, file_name=file_names.NO_NAME, metadata=metadata, length_bytes=length_bytes, concat=PARTIAL
    )


def append(*, upload: Upload, at_offset: int, pieces: Pieces, checksum: Checksum | None = None) -> Upload:
    """Add bytes at the upload's end, and finish it when they are the last. `pieces` is told how many may come."""
    with parts.locked(upload.pk):
        upload.refresh_from_db()
        check_open(upload)
        if upload.is_final:
            raise UploadFinishedError("This file is joined from its parts. Nothing is added to it.")
        if at_offset != upload.offset_bytes:
            raise OffsetConflictError(f"This file stands at {upload.offset_bytes} bytes, not at {at_offset}.")
        if upload.state == Upload.State.OPEN:
            at_most = upload.length_bytes - upload.offset_bytes
            try:
                parts.append(upload, part_of(upload), pieces(at_most), checksum=checksum)
            except SpoiltError:
                give_back(upload, SPOILT)
                raise
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
        Upload.objects.filter(pk=upload.pk).delete()
        remove_bytes(upload)


def give_up(upload_id: uuid.UUID) -> None:
    """Expire an upload that was left alone, unless somebody went on with it meanwhile."""
    with parts.locked(upload_id):
        upload = Upload.objects.get(pk=upload_id)
        if is_expired(upload) and not upload.is_finishable:
            upload.expire()
            remove_bytes(upload)

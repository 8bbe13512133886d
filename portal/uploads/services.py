"""Creating, filling and ending uploads."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Callable, Iterable, Mapping, Sequence

from django.core.files.uploadedfile import UploadedFile
from django.db import transaction

from portal.people.models import User
from portal.uploads import file_names, parts, quota
from portal.uploads.body import PIECE_BYTES
from portal.uploads.errors import (
    BadRequestError,
    ChecksumMismatchError,
    OffsetConflictError,
    SpoiltError,
    TooLargeError,
    UploadFinishedError,
    UploadGoneError,
)
from portal.uploads.expiry import is_expired
from portal.uploads.finishing import SPOILT, finish_locked, give_back, part_of, remove_bytes
from portal.uploads.headers import Checksum
from portal.uploads.models import PARTIAL, Upload
from portal.uploads.receivers import receiver_for

Pieces = Callable[[int], Iterable[bytes]]


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
    quota.check_room(length_bytes, by=user)
    check_begin(user, length_bytes, is_partial=concat == PARTIAL)
    with transaction.atomic():
        if booking is not None:
            quota.check_files(booking, user)
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
    quota.check_room(length_bytes, by=user)
    check_begin(user, length_bytes, is_partial=True)
    return Upload.objects.create(
        owner=user, file_name=file_names.NO_NAME, metadata=metadata, length_bytes=length_bytes, concat=PARTIAL
    )


def check_begin(user: User, length_bytes: int, *, is_partial: bool) -> None:
    if is_partial and not length_bytes:
        raise BadRequestError("A part of a file cannot be empty.")
    quota.check_begun(user)


def append(*, upload: Upload, at_offset: int, pieces: Pieces, checksum: Checksum | None = None) -> Upload:
    """Add bytes at the upload's end, and finish it when they are the last. `pieces` is told how many may come."""
    with parts.locked(upload.pk):
        upload.refresh_from_db()
        check_open(upload)
        if upload.is_final:
            raise UploadFinishedError("This file is joined from its parts and cannot be extended.")
        if at_offset != upload.offset_bytes:
            raise OffsetConflictError(f"This file is at {upload.offset_bytes} bytes, not at {at_offset}.")
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
    """Expired and refused uploads are gone; the sender starts again."""
    if upload.state == Upload.State.REFUSED:
        raise UploadGoneError(upload.refusal)
    if upload.state == Upload.State.EXPIRED or is_expired(upload):
        raise UploadGoneError("This upload has expired. Please send the file again.")


def take_whole(
    *,
    user: User,
    purpose: str,
    target_id: int,
    uploaded_file: UploadedFile[bytes],
    said: Mapping[str, str] | None = None,
) -> Upload:
    """Receive a file that came whole with a plain form; `said` is what the form said beside it."""
    metadata = ",".join(f"{name} {b64encode(text.encode()).decode()}" for name, text in (said or {}).items())
    upload = create(
        user=user,
        purpose=purpose,
        target_id=target_id,
        file_name=uploaded_file.name or "",
        length_bytes=uploaded_file.size or 0,
        metadata=metadata,
    )
    return append(upload=upload, at_offset=0, pieces=lambda _: uploaded_file.chunks(PIECE_BYTES))


def end(upload: Upload) -> None:
    """The sender gives the upload up. What was received stays: it is no longer ours to remove."""
    with parts.locked(upload.pk):
        upload.refresh_from_db()
        if upload.state == Upload.State.RECEIVED:
            raise UploadFinishedError("This file was received. It can be removed on the page it belongs to.")
        Upload.objects.filter(pk=upload.pk).delete()
        remove_bytes(upload)

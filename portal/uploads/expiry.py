"""Uploads that nobody goes on with: when they expire, and giving them up."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta

from django.utils import timezone

from portal.uploads import parts
from portal.uploads.finishing import remove_bytes
from portal.uploads.models import Upload

# An upload that nobody went on with for so long is given up.
KEPT_OPEN = timedelta(days=7)
# One of which nothing came holds nothing that would have to be sent again.
KEPT_EMPTY = timedelta(days=1)


def is_expired(upload: Upload) -> bool:
    return upload.state == Upload.State.OPEN and timezone.now() >= expires_at(upload)


def expires_at(upload: Upload) -> datetime:
    is_empty = upload.length_bytes and not upload.offset_bytes and not upload.is_final
    return upload.touched_at + (KEPT_EMPTY if is_empty else KEPT_OPEN)


def give_up(upload_id: uuid.UUID) -> None:
    """Expire an upload that was left alone, unless somebody went on with it meanwhile."""
    with parts.locked(upload_id):
        upload = Upload.objects.get(pk=upload_id)
        if is_expired(upload) and not upload.is_finishable:
            upload.expire()
            remove_bytes(upload)

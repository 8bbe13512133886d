"""Files that somebody began to send and has not finished: chosen again, on whatever machine, they go on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse

from portal.intake.files.receivers import said_of
from portal.people.models import User
from portal.uploads.expiry import expires_at, is_expired
from portal.uploads.models import Upload


@dataclass(frozen=True)
class Unfinished:
    """`modified` is what the sender's machine says of the file, in milliseconds: with name and size it tells a file
    from its newer bounce."""

    url: str
    name: str
    size_bytes: int
    offset_bytes: int
    modified: str
    expires_at: datetime


def unfinished_uploads(user: User, *, purpose: str, target_id: int) -> list[Unfinished]:
    # Parts that come side by side (`concat`) are for programs: no browser goes on with them by itself.
    begun = Upload.objects.filter(
        owner=user, purpose=purpose, target_id=target_id, state=Upload.State.OPEN, offset_bytes__gt=0, concat=""
    )
    return [
        Unfinished(
            url=reverse("uploads:upload", args=[upload.pk]),
            name=upload.file_name,
            size_bytes=upload.length_bytes,
            offset_bytes=upload.offset_bytes,
            modified=said_of(upload, "modified"),
            expires_at=expires_at(upload),
        )
        for upload in begun.order_by("created_at")
        if not is_expired(upload)
    ]

"""A receiver that notes what it was given and refuses what a test tells it to."""

from __future__ import annotations

from typing import ClassVar

from django.core.exceptions import PermissionDenied
from django.http import Http404

from portal.bookings.models import Booking
from portal.people.models import User
from portal.uploads.errors import UploadRefusedError
from portal.uploads.models import Upload

HIDDEN, FORBIDDEN, REFUSED, REFUSED_LATE = 404, 403, 422, 423


class NotingReceiver:
    received: ClassVar[list[Upload]] = []

    def check(self, *, user: User, target_id: int, file_name: str, length_bytes: int) -> Booking | None:
        if target_id == HIDDEN:
            raise Http404
        if target_id == FORBIDDEN:
            raise PermissionDenied
        if target_id == REFUSED:
            raise UploadRefusedError("This shelf is full.")
        return None

    def receive(self, *, upload: Upload) -> None:
        if upload.target_id == REFUSED_LATE:
            raise UploadRefusedError("The shelf filled up meanwhile.")
        self.received.append(upload)

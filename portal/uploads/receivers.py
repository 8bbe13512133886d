"""Whom a finished upload is handed to. The settings name one receiver for each purpose, so no import runs back."""

from __future__ import annotations

from typing import Protocol

from django.conf import settings
from django.utils.module_loading import import_string

from portal.bookings.models import Booking
from portal.people.models import User
from portal.uploads.errors import BadRequestError
from portal.uploads.models import Upload


class Receiver(Protocol):
    def check(self, *, user: User, target_id: int, file_name: str, length_bytes: int) -> Booking | None:
        """Say whether this file may come, before a byte of it does, and which booking it counts for.

        Raises Http404 when the target is not the user's to see, PermissionDenied when they may not add to it,
        `UploadRefusedError` with a sentence otherwise.
        """

    def receive(self, *, upload: Upload) -> None:
        """Take the stored file over, inside the transaction that marks the upload RECEIVED. May refuse like `check`."""


def receiver_for(purpose: str) -> Receiver:
    dotted_path = settings.UPLOAD_RECEIVERS.get(purpose)
    if dotted_path is None:
        raise BadRequestError("The upload has no purpose.")
    receiver: Receiver = import_string(dotted_path)()
    return receiver

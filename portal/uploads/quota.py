"""Whether there is room for a file: asked before its first byte, so that nobody is turned away at 97 %."""

from __future__ import annotations

import shutil
import uuid
from collections.abc import Iterable
from datetime import timedelta
from pathlib import Path

from django.conf import settings
from django.db.models import F, Q, Sum
from django.db.models.functions import Least
from django.utils import timezone

from portal.bookings.models import Booking
from portal.people.models import User
from portal.sizes import size_in_words
from portal.uploads.errors import NoRoomError, TooLargeError
from portal.uploads.models import PARTIAL, Upload
from portal.uploads.multipart import part_bytes

OPEN = Q(state=Upload.State.OPEN)
# House choices: far above what a song needs, far below what fills a house. A browser resumes within the hour.
RESERVED_FOR = timedelta(hours=1)
MOST_EMPTY_OF_ONE = 200
MOST_FILES_IN_BOOKING = 5_000


def check_length(length_bytes: int) -> None:
    largest = settings.LARGEST_UPLOAD_BYTES
    if length_bytes > largest:
        raise TooLargeError(
            f"This file is {size_in_words(length_bytes)}; the limit for one file is {size_in_words(largest)}."
        )


def check_room(length_bytes: int, *, by: User) -> None:
    """With an S3 store, only a part or two of each upload waits here."""
    check_disk(Path(settings.UPLOAD_DIR), min(length_bytes, most_waiting_bytes()), by=by)


def most_waiting_bytes() -> int:
    return 2 * part_bytes(settings.LARGEST_UPLOAD_BYTES) if settings.S3_BUCKET else settings.LARGEST_UPLOAD_BYTES


def check_disk(folder: Path, length_bytes: int, *, by: User | None = None) -> None:
    """Whether this folder's disk holds so much more, when what open uploads are still to bring is counted as well."""
    folder.mkdir(parents=True, exist_ok=True)
    uploads = Path(settings.UPLOAD_DIR)
    uploads.mkdir(parents=True, exist_ok=True)
    to_come = still_to_come(by) if folder.stat().st_dev == uploads.stat().st_dev else 0
    if shutil.disk_usage(folder).free - to_come - length_bytes < settings.UPLOAD_DISK_RESERVE_BYTES:
        raise NoRoomError("The server has no room for this file right now. Nothing was sent; please tell the drummer.")


def still_to_come(by: User | None) -> int:
    """What clients have announced keeps no drummer out of their own house."""
    uploads, most = Upload.objects.filter(OPEN & reserves()), most_waiting_bytes()
    if by is not None and by.is_drummer:
        uploads = uploads.filter(owner__role=User.Role.DRUMMER)
    to_come = uploads.aggregate(bytes=Sum(Least(F("length_bytes") - F("offset_bytes"), most)))
    return to_come["bytes"] or 0


def reserves() -> Q:
    """An announcement holds room for a while. After it, only what has come counts."""
    return Q(touched_at__gt=timezone.now() - RESERVED_FOR)


def check_begun(owner: User) -> None:
    """Uploads cost a row each before their first byte: one person may not have any number of them."""
    empty = Upload.objects.filter(OPEN, owner=owner, offset_bytes=0).count()
    if empty >= MOST_EMPTY_OF_ONE:
        raise NoRoomError(
            f"You have begun {empty} files of which nothing has arrived yet. Let them arrive, or cancel some, first."
        )


def check_files(booking: Booking, owner: User) -> None:
    if owner.is_drummer:
        return
    sent = Upload.objects.filter(booking=booking, state__in=[Upload.State.OPEN, Upload.State.RECEIVED])
    files = sent.exclude(concat=PARTIAL).count()
    if files >= MOST_FILES_IN_BOOKING:
        raise NoRoomError(
            f"This booking has {files} files, the most that it may have. Nothing was sent; please tell the drummer."
        )


def check_booking(booking: Booking, length_bytes: int, *, without: Iterable[uuid.UUID] = ()) -> None:
    """One booking may not take all. Holds its row, so that two files that begin at once are counted one by one.

    `without`: the partial uploads that this file is made of, which would count twice.
    """
    Booking.objects.select_for_update().get(pk=booking.pk)
    uploads = Upload.objects.filter(OPEN, booking=booking).exclude(pk__in=without)
    taken = sum(uploads.filter(reserves()).values_list("length_bytes", flat=True))
    taken += sum(uploads.exclude(reserves()).values_list("offset_bytes", flat=True)) + received_bytes(booking)
    most = settings.LARGEST_BOOKING_BYTES
    if taken + length_bytes > most:
        raise NoRoomError(
            f"This file is {size_in_words(length_bytes)}; the booking's files have {size_in_words(taken)} "
            f"of {size_in_words(most)} already. Nothing was sent; please tell the drummer."
        )


def received_bytes(booking: Booking) -> int:
    """What the store keeps for the booking: the same content sent twice is kept, and counted, once."""
    received = Upload.objects.filter(booking=booking, state=Upload.State.RECEIVED)
    return sum(length for _, length in received.values_list("sha256", "length_bytes").distinct())


def check_partials(owner: User, length_bytes: int) -> None:
    """Partial uploads that do not say what they are for count against no booking: all of them are held to its limit."""
    nameless = Upload.objects.filter(OPEN, owner=owner, booking=None, concat=PARTIAL)
    taken = sum(nameless.values_list("length_bytes", flat=True))
    if taken + length_bytes > settings.LARGEST_BOOKING_BYTES:
        raise NoRoomError("You have too many unfinished parts. Let them finish first.")

"""A zip becomes source files: entry by entry into the store, never whole in memory or on the disk twice.

The rows come in one transaction at the end. A worker that is killed before leaves only content under its own hash, and
whoever starts again finds the same.
"""

from __future__ import annotations

import logging
import shutil
from pathlib import Path

from django.conf import settings
from django.core.files.storage import default_storage
from django.db import transaction

from portal import file_serving
from portal.bookings.models import Booking, Song
from portal.bookings.services import record
from portal.intake.errors import ZipError
from portal.intake.files import file_versions, store_cleanup
from portal.intake.files.waiting import note_change, start_check
from portal.intake.models import SentZip, SourceFile
from portal.intake.zips.contents import Contents, Kept, files_words
from portal.uploads import parts
from portal.uploads.errors import UploadBusyError, UploadRefusedError
from portal.uploads.quota import check_room, received_bytes

MOST_TRIES = 3
NOTHING = "There is no usable file in this zip."
NO_LUCK = "We could not unpack this zip. It is stored as you sent it. Please send the files without a zip."

logger = logging.getLogger(__name__)


def unpack(zip_id: int) -> None:
    """Unpack one zip, unless that is done, or is being done by somebody else."""
    try:
        with parts.locked(f"zip{zip_id}"):
            sent = SentZip.objects.waiting().select_related("song__booking").filter(pk=zip_id).first()
            if sent is not None:
                unpack_locked(sent)
            parts.lock_path(f"zip{zip_id}").unlink(missing_ok=True)
    except UploadBusyError:
        logger.info("zip %s: another worker is at it", zip_id)


def unpack_locked(sent: SentZip) -> None:
    if sent.tries >= MOST_TRIES:
        finish(sent.pk, [], [], refusal=NO_LUCK)
        return
    sent.begin()
    folder = Path(settings.UPLOAD_DIR) / f"zip{sent.pk}"
    shutil.rmtree(folder, ignore_errors=True)  # what a killed worker left
    folder.mkdir(parents=True)
    contents = Contents(sent, folder)
    try:
        with file_serving.local_copy(sent.key) as path, path.open("rb") as file:
            contents.read(file, most_bytes=most_bytes(sent.song.booking), check_room=check_room)
        finish(sent.pk, contents.kept, contents.notes, refusal="" if contents.kept else NOTHING)
    except ZipError as error:
        finish(sent.pk, [], contents.notes, refusal=str(error))
        clear(contents.kept)
    except UploadRefusedError as error:
        sent.wait()
        logger.warning("zip %s: waits for room: %s", sent.pk, error.sentence)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def most_bytes(booking: Booking) -> int:
    """What the booking's limit leaves, when all that was sent for it and all that came out of its zips is counted."""
    unpacked = SourceFile.objects.filter(song__booking=booking, gone_at=None).exclude(zip=None)
    by_content = dict(unpacked.values_list("sha256", "size_bytes"))
    return max(0, settings.LARGEST_BOOKING_BYTES - received_bytes(booking) - sum(by_content.values()))


@transaction.atomic
def finish(zip_id: int, kept: list[Kept], notes: list[str], *, refusal: str) -> None:
    """All files of the zip, or none: done once, whoever comes second."""
    sent = SentZip.objects.select_related("song", "sent_by").get(pk=zip_id)
    song = Song.objects.select_for_update().select_related("booking").get(pk=sent.song_id)
    sent = SentZip.objects.select_for_update().select_related("sent_by").get(pk=zip_id)
    if sent.state != SentZip.State.RECEIVED:
        return
    if refusal:
        sent.refuse(refusal, notes)
        record(song.booking, f"“{sent.name}” cannot be used", song=song)
    else:
        sent.finish(notes)
        record(song.booking, f"unpacked “{sent.name}”: {files_words(len(kept))}", song=song)
    for arrival in (one.arrival(sent) for one in kept):
        if not default_storage.exists(arrival.key):
            raise FileNotFoundError(f"zip {zip_id}: an unpacked file was cleared away meanwhile")
        file_versions.add(song, arrival, by=sent.sent_by)
    note_change(song)
    start_check(song)


def clear(kept: list[Kept]) -> None:
    """What was unpacked of a zip that is not taken after all."""
    for one in kept:
        store_cleanup.clear(key=one.key, sha256=one.sha256)

"""A zip becomes source files: entry by entry into the store, never whole in memory or on the disk twice.

The rows come at the end, in transactions short enough that nobody waits for them; no check of the song begins before
the last. A worker that is killed leaves content under its own hash and rows under their entry's number, and whoever
starts again goes on from there.
"""

from __future__ import annotations

import logging
import shutil
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from django.conf import settings
from django.core.files.storage import default_storage
from django.db import transaction

from portal import file_serving
from portal.bookings.models import Song
from portal.bookings.services import record
from portal.heartbeat import alive
from portal.intake.errors import ZipError
from portal.intake.files import file_versions, store_cleanup
from portal.intake.files.fair_order import next_of
from portal.intake.files.waiting import note_change, start_check
from portal.intake.models import SentZip, SourceFile
from portal.intake.zips.contents import Contents, Kept, files_words
from portal.uploads.errors import UploadRefusedError
from portal.uploads.quota import check_disk, received_bytes

MOST_TRIES = 3
# For so long rows are written before others may write: on SQLite everybody else waits meanwhile.
ROWS_FOR_S = 0.02
MOST_ROWS = 50
# And for so long nothing is written in between: who waits for SQLite's lock asks for it every 0.1 s.
PAUSE_S = 0.11
NOTHING = "There is no usable file in this zip."
NO_LUCK = "We could not unpack this zip. It is stored as you sent it. Please send the files without a zip."

logger = logging.getLogger(__name__)


def unpack_next() -> None:
    """Unpack the zip that is due. One that another worker took a moment before is left to it."""
    while (zip_id := next_of(SentZip.objects.unclaimed(), began="began_at", tries="tries")) is not None:
        if unpack(zip_id):
            return


def unpack(zip_id: int) -> bool:
    """Unpack one zip, unless that is done or under way: then False."""
    sent = SentZip.objects.claim(zip_id)
    if sent is None:
        return False
    if sent.tries > MOST_TRIES:
        give_up(sent)
        return True
    try:
        with alive(sent.go_on):
            unpack_claimed(sent)
    except OSError:
        sent.let_go()  # the store or the disk was out of reach: the task is tried again in a moment
        raise
    return True


def unpack_claimed(sent: SentZip) -> None:
    folder = Path(settings.UPLOAD_DIR) / f"zip{sent.pk}"
    shutil.rmtree(folder, ignore_errors=True)  # what a killed worker left
    folder.mkdir(parents=True)
    contents = Contents(sent, folder, check_room)
    try:
        if settings.S3_BUCKET:
            check_disk(Path(tempfile.gettempdir()), sent.size_bytes)
        with file_serving.local_copy(sent.key) as path, path.open("rb") as file:
            contents.read(file, most_bytes=most_bytes(sent))
        finish(sent.pk, contents.kept, contents.notes, refusal="" if contents.kept else NOTHING)
    except ZipError as error:
        finish(sent.pk, [], contents.notes, refusal=str(error))
        clear(contents.kept)
    except UploadRefusedError as error:
        sent.wait()
        logger.warning("zip %s: waits for room: %s", sent.pk, error.sentence)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def give_up(sent: SentZip) -> None:
    """What became a file of the song before stays one."""
    there = sent.sources.count()
    if there:
        settle(
            sent.pk, [f"Only {files_words(there)} of this zip could be unpacked. Please send the others again."], there
        )
    else:
        settle(sent.pk, [], 0, refusal=NO_LUCK)


def check_room(total_bytes: int, largest_bytes: int) -> None:
    """On the disk where all of it will lie, and on the one where each file waits for its hash."""
    check_disk(Path(settings.UPLOAD_DIR), largest_bytes)
    if not settings.S3_BUCKET:
        check_disk(Path(default_storage.path("")), total_bytes)


def most_bytes(sent: SentZip) -> int:
    """What the booking's limit leaves, when all that was sent for it and all that came out of its other zips counts."""
    booking = sent.song.booking
    unpacked = SourceFile.objects.filter(song__booking=booking, gone_at=None).exclude(zip=None).exclude(zip=sent)
    by_content = dict(unpacked.values_list("sha256", "size_bytes"))
    return max(0, settings.LARGEST_BOOKING_BYTES - received_bytes(booking) - sum(by_content.values()))


def finish(zip_id: int, kept: list[Kept], notes: list[str], *, refusal: str) -> None:
    """All files of the zip, or none: done once, whoever comes second. A file that this zip brought at an earlier try is
    not brought again."""
    there = set(SourceFile.objects.filter(zip_id=zip_id).values_list("zip_entry", flat=True))
    to_add = [one for one in kept if one.number not in there]
    check_stored(zip_id, to_add)
    while to_add:
        added = add_some(zip_id, to_add)
        if not added:
            return
        to_add = to_add[added:]
        if to_add:
            time.sleep(PAUSE_S)
    # Again, now that rows name them: from here on nobody clears them away.
    check_stored(zip_id, kept)
    settle(zip_id, notes, len(kept), refusal=refusal)


def check_stored(zip_id: int, kept: Sequence[Kept]) -> None:
    if not all(default_storage.exists(one.key) for one in kept):
        raise FileNotFoundError(f"zip {zip_id}: an unpacked file was cleared away meanwhile")


@transaction.atomic
def add_some(zip_id: int, to_add: Sequence[Kept]) -> int:
    """As many rows as a short transaction has time for, at least one; none when the zip is settled."""
    sent, song = locked_rows(zip_id)
    if sent.state != SentZip.State.RECEIVED:
        return 0
    until, added = time.monotonic() + ROWS_FOR_S, 0
    piece = to_add[:MOST_ROWS]
    current = file_versions.CurrentFiles(song, [one.name for one in piece])
    for one in piece:
        file_versions.add_to(current, one.arrival(sent), by=sent.sent_by)
        added += 1
        if time.monotonic() >= until:
            break
    return added


@transaction.atomic
def settle(zip_id: int, notes: list[str], files: int, *, refusal: str = "") -> None:
    sent, song = locked_rows(zip_id)
    if sent.state != SentZip.State.RECEIVED:
        return
    if refusal:
        sent.refuse(refusal, notes)
        record(song.booking, f"“{sent.name}” cannot be used", song=song)
    else:
        sent.finish(notes)
        record(song.booking, f"unpacked “{sent.name}”: {files_words(files)}", song=song)
    note_change(song)
    start_check(song)


def locked_rows(zip_id: int) -> tuple[SentZip, Song]:
    """The song before what belongs to it: whoever changes them waits in this order."""
    song = Song.objects.select_for_update().select_related("booking").get(zips=zip_id)
    return SentZip.objects.select_for_update().select_related("sent_by").get(pk=zip_id), song


def clear(kept: list[Kept]) -> None:
    """What was unpacked of a zip that is not taken after all."""
    for one in kept:
        store_cleanup.clear(key=one.key, sha256=one.sha256)

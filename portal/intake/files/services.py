"""Files of a song: they come, replace earlier versions, are removed, and come back."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import transaction
from django.utils import timezone

from portal.bookings.models import Song
from portal.bookings.services import move_song, note_song, record
from portal.bookings.stages import INTAKE_STAGES, SongStage
from portal.intake.errors import FileGoneError, SongClosedError
from portal.intake.files.file_versions import Arrival, add, size_words
from portal.intake.files.waiting import note_change, start_check
from portal.intake.models import SentZip, SourceFile
from portal.people.models import User
from portal.queueing import queue_task_on_commit
from portal.uploads.models import Upload

# Of files that are taken out in one go: more of them are one line of the timeline (house choice).
MOST_LINES = 20
AFTER_INTAKE_WITH_FILES = (SongStage.TRACKING, SongStage.IN_REVIEW)


def check_takes_files(song: Song) -> None:
    """Files may come until the song is delivered: a late stem is better than none."""
    if song.booking.is_over:
        raise SongClosedError(f"This booking is {song.booking.get_stage_display()}: it no longer accepts files.")
    if song.stage not in (*INTAKE_STAGES, *AFTER_INTAKE_WITH_FILES):
        raise SongClosedError(f"This song is {song.get_stage_display()}: it no longer accepts files.")


@transaction.atomic
def receive(*, upload: Upload, song: Song, folder: str = "", sent_with: str = "", replaces: int = 0) -> SourceFile:
    """A file is here for good: say so, and have it measured."""
    arrival = Arrival(
        name=upload.file_name,
        folder=folder,
        sent_with=sent_with,
        replaces=replaces,
        sha256=upload.sha256,
        key=upload.key,
        size_bytes=upload.length_bytes,
    )
    song = Song.objects.select_for_update().select_related("booking").get(pk=song.pk)
    source = add(song, arrival, by=upload.owner)
    note_change(song)
    begin_check(song)
    return source


@transaction.atomic
def receive_zip(*, upload: Upload, song: Song) -> SentZip:
    """A zip is here for good: its files follow as soon as a worker has unpacked it."""
    song = Song.objects.select_for_update().select_related("booking").get(pk=song.pk)
    sent = SentZip.objects.create(
        song=song,
        sent_by=upload.owner,
        name=upload.file_name,
        sha256=upload.sha256,
        key=upload.key,
        size_bytes=upload.length_bytes,
    )
    record(song.booking, f"sent “{sent.name}” ({size_words(sent.size_bytes)})", actor=upload.owner, song=song)
    note_change(song)
    begin_check(song)
    queue_task_on_commit("portal.intake.tasks.unpack_zip", sent.pk)
    return sent


def begin_check(song: Song) -> None:
    """Before tracking, whatever changes sends the song back to be checked. After, or when its booking is over, it stays
    where the drummer has it."""
    has_files = song.sources.current().exists() or song.zips.waiting().exists()
    if song.stage in INTAKE_STAGES and not song.booking.is_over:
        move_song(song, SongStage.CHECKING, text="the files are being checked", has_files=has_files)
    else:
        note_song(song, has_files=has_files)


@transaction.atomic
def check_again(song_id: int) -> bool:
    """The brief changed, a file left or came back, or somebody asks: measure again what there is.

    Files whose survey failed are tried once more as well. False where there is nothing to measure: without the
    originals, and when the booking is over.
    """
    song = Song.objects.select_for_update().select_related("booking").get(pk=song_id)
    if song.booking.is_over or not song.sources.exists() or song.sources.current().exclude(gone_at=None).exists():
        return False
    begin_check(song)
    for source in song.sources.current():
        if source.is_unmeasured:
            source.survey_anew()
            queue_task_on_commit("portal.intake.tasks.survey_file", source.pk)
    start_check(song)
    return True


@transaction.atomic
def remove(*, source: SourceFile, by: User) -> None:
    """Take a file out of the song. The original stays in the store, and the file can be restored."""
    if take_out([source], by=by):
        note_change(source.song)
        check_again(source.song_id)


@transaction.atomic
def say_no_click(*, source: SourceFile, by: User) -> None:
    """The file is music, whatever it sounds like: the song is measured again, from all of its music."""
    source = lock(source)
    check_takes_files(source.song)
    if not source.is_no_click:
        source.be_no_click()
        record(source.song.booking, f"said that “{source.name}” is not a click", actor=by, song=source.song)
        check_again(source.song_id)


def take_out(sources: Sequence[SourceFile], *, by: User) -> bool:
    """Files of one song, of which there may be hundreds; whether one was there to be taken out. What is left is checked
    again by whoever asks for it."""
    if not sources:
        return False
    song = Song.objects.select_for_update().select_related("booking").get(pk=sources[0].song_id)
    there = song.sources.current().filter(pk__in=[source.pk for source in sources])
    names = list(there.values_list("name", flat=True))
    if not names:
        return False
    check_takes_files(song)
    there.update(removed_at=timezone.now(), removed_by=by, left_as=SourceFile.Left.REMOVED)
    told = [f"removed “{name}”" for name in names] if len(names) <= MOST_LINES else [f"removed {len(names)} files"]
    for text in told:
        record(song.booking, text, actor=by, song=song)
    return True


@transaction.atomic
def bring_back(*, source: SourceFile, by: User) -> None:
    """Let a version count again, in place of the one that counts now; or a file that was removed."""
    source = lock(source)
    if source.removed_at is None:
        return
    check_takes_files(source.song)
    if source.gone_at is not None:
        raise FileGoneError(f"“{source.name}” has been removed. Please send it again.")
    counting = SourceFile.objects.versions_of(source).current().first()
    if counting is not None:
        counting.leave(SourceFile.Left.REPLACED, by=by)
    source.come_back()
    words = f"went back to version {source.version} of" if counting is not None else "restored"
    record(source.song.booking, f"{words} “{source.name}”", actor=by, song=source.song)
    if source.status == SourceFile.Status.RECEIVED:
        queue_task_on_commit("portal.intake.tasks.survey_file", source.pk)
    note_change(source.song)
    check_again(source.song_id)


def lock(source: SourceFile) -> SourceFile:
    """The song before its files: whoever changes them waits in this order."""
    song = Song.objects.select_for_update().select_related("booking").get(pk=source.song_id)
    source = SourceFile.objects.select_for_update().get(pk=source.pk)
    source.song = song
    return source

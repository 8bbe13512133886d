"""Takes finished uploads over as source files of a song, as zips of such, or as a new version of one."""

from __future__ import annotations

import base64

from django.shortcuts import get_object_or_404

from portal.bookings.models import Booking, Song
from portal.clean_text import clean
from portal.intake.errors import SongClosedError
from portal.intake.files import services as song_files
from portal.intake.models import SourceFile
from portal.people.models import User
from portal.uploads.errors import UploadRefusedError
from portal.uploads.models import Upload

SENT_WITH_LENGTH = 40


class SourceReceiver:
    def check(self, *, user: User, target_id: int, file_name: str, length_bytes: int) -> Booking:  # noqa: ARG002
        return self.look_up(user, target_id).booking

    def receive(self, *, upload: Upload) -> None:
        song = self.look_up(upload.owner, upload.target_id)
        if upload.file_name.lower().endswith(".zip"):
            song_files.receive_zip(upload=upload, song=song)
            return
        folder, sent_with = said_of(upload, "folder"), said_of(upload, "sentwith")[:SENT_WITH_LENGTH]
        song_files.receive(upload=upload, song=song, folder=folder, sent_with=sent_with)

    def look_up(self, user: User, song_id: int) -> Song:
        song = get_object_or_404(Song.objects.visible_to(user).select_related("booking"), pk=song_id)
        check_open(song)
        return song


class BounceReceiver:
    """Takes a file over as the next version of the one that its sender chose: the target."""

    def check(self, *, user: User, target_id: int, file_name: str, length_bytes: int) -> Booking:  # noqa: ARG002
        if file_name.lower().endswith(".zip"):
            raise UploadRefusedError("A zip cannot replace a single file. Upload it with the song’s files.")
        return self.look_up(user, target_id).song.booking

    def receive(self, *, upload: Upload) -> None:
        source = self.look_up(upload.owner, upload.target_id)
        song_files.receive(upload=upload, song=source.song, folder=source.folder, replaces=source.line)

    def look_up(self, user: User, source_id: int) -> SourceFile:
        sources = SourceFile.objects.visible_to(user).select_related("song__booking")
        source = get_object_or_404(sources, pk=source_id)
        check_open(source.song)
        return source


def check_open(song: Song) -> None:
    try:
        song_files.check_takes_files(song)
    except SongClosedError as error:
        raise UploadRefusedError(str(error)) from error


def said_of(upload: Upload, name: str) -> str:
    """What the sender's browser said beside the file; the protocol has read it strictly before."""
    for pair in upload.metadata.split(","):
        key, _, value = pair.strip(" ").partition(" ")
        if key == name:
            return clean(base64.b64decode(value).decode("utf-8", errors="replace"))
    return ""

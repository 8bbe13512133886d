"""Takes finished uploads over as source files of a song."""

from __future__ import annotations

from django.shortcuts import get_object_or_404

from portal.bookings.models import Song
from portal.intake import services
from portal.intake.errors import SongClosedError
from portal.people.models import User
from portal.uploads.errors import UploadRefusedError
from portal.uploads.models import Upload


class SourceReceiver:
    def check(self, *, user: User, target_id: int, file_name: str, length_bytes: int) -> None:  # noqa: ARG002
        self.look_up(user, target_id)

    def receive(self, *, upload: Upload) -> None:
        services.receive(upload=upload, song=self.look_up(upload.owner, upload.target_id))

    def look_up(self, user: User, song_id: int) -> Song:
        song = get_object_or_404(Song.objects.visible_to(user).select_related("booking"), pk=song_id)
        try:
            services.check_takes_files(song)
        except SongClosedError as error:
            raise UploadRefusedError(str(error)) from error
        return song

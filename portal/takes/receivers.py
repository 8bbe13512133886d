"""What `portal.uploads` hands over when the purpose is a rough mix."""

from __future__ import annotations

from django.shortcuts import get_object_or_404

from portal.bookings.models import Booking, Song
from portal.people.access import require_drummer
from portal.people.models import User
from portal.takes import services
from portal.takes.stages import STAGES_OF_MIXES
from portal.uploads.errors import UploadRefusedError
from portal.uploads.models import Upload


class RoughMixReceiver:
    """Takes a drummer's file for the song whose key is the target."""

    def check(self, *, user: User, target_id: int, file_name: str, length_bytes: int) -> Booking:
        song = get_object_or_404(Song.objects.visible_to(user).select_related("booking"), pk=target_id)
        require_drummer(user)
        if song.booking.is_over:
            raise UploadRefusedError(f"This booking is {song.booking.get_stage_display()}.")
        if song.stage not in STAGES_OF_MIXES:
            raise UploadRefusedError(
                f"“{song.title}” is {song.get_stage_display()}: rough mixes are sent during tracking."
            )
        if length_bytes == 0:
            raise UploadRefusedError(f"“{file_name}” is empty.")
        return song.booking

    def receive(self, *, upload: Upload) -> None:
        services.receive_rough_mix(upload=upload)

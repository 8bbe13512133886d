"""What `portal.uploads` hands over when the purpose is a track of a delivery."""

from __future__ import annotations

from django.shortcuts import get_object_or_404

from portal.bookings.models import Booking
from portal.delivery import services
from portal.delivery.errors import DeliveryError
from portal.delivery.models import Delivery
from portal.delivery.names import RESERVED_NAMES, fold
from portal.people.access import require_drummer
from portal.people.models import User
from portal.uploads.errors import UploadRefusedError
from portal.uploads.models import Upload

# What a name may take on common file systems, in UTF-8.
LONGEST_NAME_BYTES = 255


class TrackReceiver:
    """Takes a drummer's file for the open set whose key is the target."""

    def check(self, *, user: User, target_id: int, file_name: str, length_bytes: int) -> Booking:
        deliveries = Delivery.objects.visible_to(user).select_related("song__booking")
        delivery = get_object_or_404(deliveries, pk=target_id)
        require_drummer(user)
        if not delivery.is_open or delivery.song.booking.is_over:
            raise UploadRefusedError(f"Delivery {delivery.number} is {delivery.get_state_display()}: open a new one.")
        _check_name(file_name)
        if length_bytes == 0:
            raise UploadRefusedError(f"“{file_name}” is empty.")
        return delivery.song.booking

    def receive(self, *, upload: Upload) -> None:
        _check_name(upload.file_name)
        try:
            services.receive_track(upload=upload)
        except DeliveryError as error:
            raise UploadRefusedError(str(error)) from error


def _check_name(file_name: str) -> None:
    if len(file_name.encode()) > LONGEST_NAME_BYTES:
        raise UploadRefusedError(f"“{file_name}” is too long a name for many file systems. Please shorten it.")
    if fold(file_name) in RESERVED_NAMES:
        raise UploadRefusedError(f"“{file_name}” is the name of a file that the zip adds automatically.")

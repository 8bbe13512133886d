"""What deliveries know of a song that decides whose turn it is, read from their rows and written down on the song."""

from __future__ import annotations

from portal.bookings.models import Song
from portal.bookings.services import note_song
from portal.delivery.models import Delivery, SetRepair


def note_sets(song: Song) -> None:
    """After anything that begins or ends the check or the correction of a set, or waives what it found.

    Locks the song: before its sets.
    """
    note_song(
        song,
        set_checking=song.deliveries.filter(state=Delivery.State.CHECKING).exists(),
        set_failed=any(one.failures for one in song.deliveries.filter(state=Delivery.State.CHECKED)),
        set_correcting=SetRepair.objects.filter(delivery__song=song, state=SetRepair.State.MAKING).exists(),
    )

"""What a drummer does with the queue itself. Nothing here moves a song."""

from __future__ import annotations

from django.db import transaction

from portal.bookings.models import Song
from portal.bookings.services import record
from portal.intake.desk.queue_filter import Look
from portal.intake.errors import BookingOverError
from portal.intake.models import KeptView, SetAside
from portal.people.models import User


@transaction.atomic
def set_aside(*, song: Song, by: User) -> None:
    """To the end of the queue, until it is taken up again. Pressed twice, it is aside once.

    Raises BookingOverError where the song is in no queue any more.
    """
    if song.booking.is_over:
        raise BookingOverError
    _, is_new = SetAside.objects.get_or_create(song=song, defaults={"by": by})
    if is_new:
        record(song.booking, "set the song aside", actor=by, song=song)


@transaction.atomic
def take_up(*, song: Song, by: User) -> None:
    deleted, _ = SetAside.objects.filter(song=song).delete()
    if deleted:
        record(song.booking, "resumed the song", actor=by, song=song)


def keep_view(*, owner: User, name: str, look: Look) -> KeptView:
    """The same name again is the same view, changed."""
    kept, _ = KeptView.objects.update_or_create(owner=owner, name=name, defaults=vars(look))
    return kept


def drop_view(kept: KeptView) -> None:
    kept.delete()

"""Every move of a booking or a song, and what each writes in the timeline."""

from __future__ import annotations

from django.db import transaction

from portal.bookings.models import Booking, Brief, Member, Song, TimelineEntry
from portal.bookings.stages import BookingStage, SongStage
from portal.people.models import User


def record(booking: Booking, text: str, *, actor: User | None = None, song: Song | None = None) -> TimelineEntry:
    return TimelineEntry.objects.create(booking=booking, song=song, actor=actor, text=text)


@transaction.atomic
def create_booking(*, by: User, title: str, song_titles: list[str]) -> Booking:
    booking = Booking.objects.create(title=title, created_by=by)
    record(booking, "opened the booking", actor=by)
    for song_title in song_titles:
        add_song(booking=booking, title=song_title, by=by)
    return booking


@transaction.atomic
def add_song(*, booking: Booking, title: str, by: User) -> Song:
    last = booking.songs.order_by("-position").values_list("position", flat=True).first() or 0
    song = Song.objects.create(booking=booking, title=title, position=last + 1)
    Brief.objects.create(song=song)
    record(booking, f"added the song “{title}”", actor=by, song=song)
    return song


@transaction.atomic
def seat_client(*, booking: Booking, client: User, by: User) -> Member:
    member, is_new = Member.objects.get_or_create(booking=booking, user=client)
    if is_new:
        record(booking, f"gave {client.name} a seat at this booking", actor=by)
    return member


@transaction.atomic
def move_booking(booking: Booking, stage: BookingStage, *, text: str, actor: User | None = None) -> None:
    booking.move_to(stage)
    record(booking, text, actor=actor)


@transaction.atomic
def move_song(song: Song, stage: SongStage, *, text: str, actor: User | None = None) -> None:
    """Move a song, write it down, and let its booking follow. Moving to where it stands writes nothing."""
    song = Song.objects.select_for_update().get(pk=song.pk)
    if song.stage == stage:
        return
    song.move_to(stage)
    record(song.booking, text, actor=actor, song=song)
    _follow(song.booking)


def _follow(booking: Booking) -> None:
    """A booking works while its songs do, is delivered when all of them are, and closes when all are accepted."""
    stages = set(booking.songs.values_list("stage", flat=True))
    if stages == {SongStage.ACCEPTED}:
        move_booking(booking, BookingStage.CLOSED, text="all songs are accepted: the booking is closed")
    elif stages <= {SongStage.ACCEPTED, SongStage.DELIVERED}:
        if booking.stage != BookingStage.DELIVERED:
            move_booking(booking, BookingStage.DELIVERED, text="all songs are delivered")
    else:
        if booking.stage in (BookingStage.AGREED, BookingStage.DELIVERED):
            move_booking(booking, BookingStage.WORKING, text="the work has begun")
        if booking.stage == BookingStage.WORKING:
            booking.follow_songs()

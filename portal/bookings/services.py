"""Every move of a booking or a song, and what each writes in the timeline."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.db import transaction
from django.utils import timezone

from portal.bookings import hooks
from portal.bookings.errors import BookingClosedError, BriefClosedError
from portal.bookings.models import Booking, Brief, Member, Song, TimelineEntry
from portal.bookings.stages import INTAKE_STAGES, BookingStage, SongStage, Turn
from portal.people.models import User
from portal.people.services import find_or_add_client

BRIEF_FIELDS = ("bpm", "meter", "feel", "starts", "count_in_bars", "click", "references", "notes")
TEXT_LENGTH = 300
BRIEF_WORDS = {
    "bpm": "tempo",
    "starts": "where it starts",
    "count_in_bars": "count-in",
}


def record(booking: Booking, text: str, *, actor: User | None = None, song: Song | None = None) -> TimelineEntry:
    return TimelineEntry.objects.create(booking=booking, song=song, actor=actor, text=text[:TEXT_LENGTH])


@transaction.atomic
def create_booking(*, by: User, title: str, song_titles: Sequence[str], due_on: date | None = None) -> Booking:
    booking = Booking.objects.create(title=title, created_by=by, due_on=due_on, due_zone=by.time_zone)
    record(booking, "opened the booking", actor=by)
    for song_title in song_titles:
        add_song(booking=booking, title=song_title, by=by)
    return booking


@transaction.atomic
def open_booking(
    *, by: User, title: str, song_titles: Sequence[str], client_name: str, client_email: str, due_on: date | None = None
) -> Booking:
    """A booking with access for its client. The client hears of it with the quote or an invitation."""
    client = find_or_add_client(email=client_email, name=client_name, time_zone=by.time_zone)
    booking = create_booking(by=by, title=title, song_titles=song_titles, due_on=due_on)
    seat_client(booking=booking, client=client, by=by)
    return booking


@transaction.atomic
def add_song(*, booking: Booking, title: str, by: User) -> Song:
    booking = Booking.objects.select_for_update().get(pk=booking.pk)
    if booking.is_over:
        raise BookingClosedError(f"This booking is {booking.get_stage_display()}: open a new one for more songs.")
    last = booking.songs.order_by("-position").values_list("position", flat=True).first() or 0
    song = Song.objects.create(booking=booking, title=title, position=last + 1)
    Brief.objects.create(song=song)
    record(booking, f"added the song “{title}”", actor=by, song=song)
    if booking.stage in (BookingStage.WORKING, BookingStage.DELIVERED):
        _follow(booking)
    return song


@transaction.atomic
def seat_client(*, booking: Booking, client: User, by: User) -> Member:
    member, is_new = Member.objects.get_or_create(booking=booking, user=client)
    if is_new:
        record(booking, f"gave {client.name} access to this booking", actor=by)
    return member


@transaction.atomic
def save_brief(*, song: Song, by: User, **changes: Any) -> Brief:
    """Write down what is known about a song. What changes starts the next check; the same again changes nothing."""
    song = Song.objects.select_for_update().select_related("booking").get(pk=song.pk)
    if song.stage not in INTAKE_STAGES:
        raise BriefClosedError(f"This song is {song.get_stage_display()}: write a message if something has changed.")
    brief, _ = Brief.objects.get_or_create(song=song)
    was_written = brief.is_written
    changed = [name for name in BRIEF_FIELDS if name in changes and changes[name] != getattr(brief, name)]
    if was_written and not changed:
        return brief
    for name in changed:
        setattr(brief, name, changes[name])
    brief.updated_at, brief.updated_by = timezone.now(), by
    brief.full_clean(exclude=["song"])
    brief.save(update_fields=[*changed, "updated_at", "updated_by"])
    words = ", ".join(BRIEF_WORDS.get(name, name) for name in changed)
    record(song.booking, f"changed the brief: {words}" if was_written else "wrote the brief", actor=by, song=song)
    for call in hooks.on_brief_saved:
        call(song.pk)
    return brief


@transaction.atomic
def cancel_booking(*, booking: Booking, by: User, reason: str) -> None:
    booking = Booking.objects.select_for_update().get(pk=booking.pk)
    if booking.is_over:
        raise BookingClosedError(f"This booking is already {booking.get_stage_display()}.")
    text = f"cancelled the booking: {reason}" if reason else "cancelled the booking"
    move_booking(booking, BookingStage.CANCELLED, text=text, actor=by)
    for call in hooks.on_booking_cancelled:
        call(booking.pk, by.pk)


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


@transaction.atomic
def hand_song(song: Song, turn: Turn, *, text: str, actor: User | None = None) -> None:
    """Pass the turn without a move, write it down, and let the booking follow."""
    song = Song.objects.select_for_update().get(pk=song.pk)
    song.pass_turn(turn)
    record(song.booking, text, actor=actor, song=song)
    _follow(song.booking)


def _follow(booking: Booking) -> None:
    """A booking works while its songs do, is delivered when all of them are, and closes when all are accepted.

    The row is locked first: two songs that are accepted at once must see each other, or the booking stays open.
    """
    booking = Booking.objects.select_for_update().get(pk=booking.pk)
    if booking.is_over:
        return
    stages = set(booking.songs.values_list("stage", flat=True))
    if stages == {SongStage.ACCEPTED}:
        move_booking(booking, BookingStage.CLOSED, text="all songs are accepted: the booking is closed")
    elif stages <= {SongStage.ACCEPTED, SongStage.DELIVERED}:
        if booking.stage != BookingStage.DELIVERED:
            move_booking(booking, BookingStage.DELIVERED, text="all songs are delivered")
    else:
        if booking.stage in (BookingStage.AGREED, BookingStage.DELIVERED):
            move_booking(booking, BookingStage.WORKING, text="work has started")
        if booking.stage == BookingStage.WORKING:
            booking.follow_songs()

"""Every move of a booking or a song, what each writes in the timeline, and how the turn is passed on.

Rows are locked in one order, here and above: songs by their keys, then their booking.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any, Unpack

from django.db import transaction
from django.utils import timezone

from portal.bookings import hooks
from portal.bookings.errors import BookingClosedError, BriefClosedError
from portal.bookings.models import Booking, Brief, Member, Song, TimelineEntry
from portal.bookings.stages import INTAKE_STAGES, OVER_STAGES, BookingStage, QuoteState, SongStage
from portal.bookings.turns import BookingNotes, SongNotes
from portal.people.models import User
from portal.people.services import find_or_add_client

BRIEF_FIELDS = ("bpm", "meter", "feel", "starts", "count_in_bars", "click", "references", "notes")
TEXT_LENGTH = 300
BRIEF_WORDS = {
    "bpm": "tempo",
    "starts": "where it starts",
    "count_in_bars": "count-in",
}
ASKED_OF_THE_CLIENT = ("question_open", "file_promised", "listening_open", "draft_held")
FOLLOW_WORDS = {
    BookingStage.CLOSED: "all songs are accepted: the booking is closed",
    BookingStage.DELIVERED: "all songs are delivered",
    BookingStage.WORKING: "work has started",
}


def record(booking: Booking, text: str, *, actor: User | None = None, song: Song | None = None) -> TimelineEntry:
    if actor is not None and not actor.is_drummer:
        note_told(booking, actor)
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
    song.pass_turn()
    follow_songs(booking)
    for call in hooks.on_songs_changed:
        call(song.pk, by.pk)
    return song


@transaction.atomic
def seat_client(*, booking: Booking, client: User, by: User) -> Member:
    member, is_new = Member.objects.get_or_create(booking=booking, user=client)
    if is_new:
        record(booking, f"gave {client.name} access to this booking", actor=by)
    return member


def takes_brief(song: Song) -> bool:
    """Whether what is said about it can still change."""
    return song.stage in INTAKE_STAGES and not song.booking.is_over


@transaction.atomic
def save_brief(*, song: Song, by: User, **changes: Any) -> Brief:
    """Write down what is known about a song. What changes starts the next check; the same again changes nothing."""
    song = Song.objects.select_for_update().select_related("booking").get(pk=song.pk)
    if not takes_brief(song):
        kind, over = ("booking", song.booking) if song.booking.is_over else ("song", song)
        raise BriefClosedError(f"This {kind} is {over.get_stage_display()}: write a message if something has changed.")
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
    note_song(song)
    for call in hooks.on_brief_saved:
        call(song.pk)
    return brief


@transaction.atomic
def cancel_booking(*, booking: Booking, by: User, reason: str) -> None:
    """Stop the work. Nothing is asked of anybody any more: what the apps above have open, they close."""
    booking = lock_booking(booking)
    if booking.is_over:
        raise BookingClosedError(f"This booking is already {booking.get_stage_display()}.")
    text = f"cancelled the booking: {reason}" if reason else "cancelled the booking"
    untell(booking, by=by)
    for song in booking.songs.all():
        song.note(**dict.fromkeys(ASKED_OF_THE_CLIENT, False))
    move_booking(booking, BookingStage.CANCELLED, text=text, actor=by)
    for call in hooks.on_booking_cancelled:
        call(booking.pk, by.pk, reason)


def note_told(booking: Booking, user: User) -> None:
    """A client knows of the booking from now on: whatever becomes of it, they are told."""
    Member.objects.filter(booking=booking, user=user, told_at=None).update(told_at=timezone.now())


def untell(booking: Booking, *, by: User) -> None:
    """A client who never heard of a booking does not hear of its end either: no e-mail, and nothing on their pages."""
    for member in booking.members.filter(told_at=None).select_related("user"):
        record(booking, f"removed the access of {member.user.name}, who had not heard of the booking", actor=by)
        member.delete()


def lock_booking(booking: Booking) -> Booking:
    """A booking whose songs follow it: they are locked first."""
    list(Song.objects.select_for_update().filter(booking=booking).order_by("pk").values_list("pk"))
    return Booking.objects.select_for_update().get(pk=booking.pk)


@transaction.atomic
def move_booking(booking: Booking, stage: BookingStage, *, text: str, actor: User | None = None) -> None:
    booking.move_to(stage)
    record(booking, text, actor=actor)
    _pass_turns(booking)


@transaction.atomic
def note_booking(booking: Booking, **facts: Unpack[BookingNotes]) -> None:
    """Write down what is true of a booking now (`turns.BookingNotes`), and pass its turn and its songs' on."""
    booking = lock_booking(booking)
    booking.note(**facts)
    _pass_turns(booking)


@transaction.atomic
def move_song(
    song: Song, stage: SongStage, *, text: str, actor: User | None = None, **facts: Unpack[SongNotes]
) -> None:
    """Move a song, write it down, and let its booking follow. Moving to where it stands writes only the facts."""
    song = Song.objects.select_for_update().get(pk=song.pk)
    song.note(**facts)
    if song.stage not in (stage, SongStage.TAKEN_OUT):
        song.move_to(stage)
        record(song.booking, text, actor=actor, song=song)
    song.pass_turn()
    follow_songs(song.booking)


@transaction.atomic
def note_song(song: Song, *, text: str = "", actor: User | None = None, **facts: Unpack[SongNotes]) -> None:
    """Write down what is true of a song now (`turns.SongNotes`), and pass the turn on. `text` goes to the timeline."""
    song = Song.objects.select_for_update().get(pk=song.pk)
    song.note(**facts)
    if text:
        record(song.booking, text, actor=actor, song=song)
    song.pass_turn()
    follow_songs(song.booking)


def _pass_turns(booking: Booking) -> None:
    """What a booking is, its songs wait for; what they wait for, it waits for."""
    for song in booking.songs.select_related("brief"):
        song.booking = booking
        song.pass_turn()
    booking.pass_turn()


@transaction.atomic
def follow_songs(booking: Booking) -> None:
    """A booking works while its songs do, is delivered when all of them are, and closes when all are accepted.

    The row is locked first: two songs that are accepted at once must see each other, or the booking stays open.
    """
    booking = Booking.objects.select_for_update().get(pk=booking.pk)
    stage = None if booking.is_over else _stage_by_songs(booking)
    if stage is None or stage == booking.stage:
        booking.pass_turn()
    else:
        move_booking(booking, stage, text=FOLLOW_WORDS[stage])


def _stage_by_songs(booking: Booking) -> BookingStage | None:
    """None: where it is. A booking whose new quote waits for an answer is not closed over it."""
    stages = set(booking.songs.values_list("stage", flat=True)) - {SongStage.TAKEN_OUT}
    if not stages:
        return None
    if stages == {SongStage.ACCEPTED} and booking.quote_state != QuoteState.SENT:
        return BookingStage.CLOSED
    if stages <= {SongStage.ACCEPTED, SongStage.DELIVERED}:
        return BookingStage.DELIVERED
    begins = booking.stage == BookingStage.AGREED and stages != {SongStage.WAITING}
    return BookingStage.WORKING if begins or booking.stage == BookingStage.DELIVERED else None


def record_correction(client_id: int, by_id: int, text: str) -> None:
    """What `people.hooks.on_client_corrected` calls: a line in each booking that the client has access to."""
    by = User.objects.get(pk=by_id)
    for booking in Booking.objects.filter(members__user=client_id).exclude(stage__in=OVER_STAGES):
        record(booking, text, actor=by)

"""What was written down wrongly, or has changed since: each correction has its line in the timeline.

Where something binds both sides it is refused in words, or asked: the due date of an accepted quote changes with the
client's word.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from django.db import transaction
from django.db.models import F

from portal.bookings import hooks
from portal.bookings.errors import BookingClosedError, CorrectionError
from portal.bookings.models import Booking, Member, Song
from portal.bookings.services import follow_songs, lock_booking, move_booking, record
from portal.bookings.stages import BookingStage, SongStage
from portal.people.models import User
from portal.people.services import withdraw_invitations

AGREED_STAGES = (BookingStage.AGREED, BookingStage.WORKING, BookingStage.DELIVERED)
DELIVERED_STAGES = (SongStage.DELIVERED, SongStage.ACCEPTED)
# Above every place that a song has, while the order changes: no two songs share a place at any time.
OUT_OF_THE_WAY = 10_000


@transaction.atomic
def rename_booking(*, booking: Booking, title: str, by: User) -> None:
    booking = _locked(booking)
    if title != booking.title:
        record(booking, f"renamed the booking from “{booking.title}” to “{title}”", actor=by)
        booking.title = title
        booking.save(update_fields=["title"])


@transaction.atomic
def correct_songs(*, booking: Booking, titles: Mapping[int, str], order: Mapping[int, int], by: User) -> None:
    """New titles by song, and the places that were typed: two songs of one place keep the order that they had."""
    booking = _locked(booking)
    songs = list(booking.songs.select_for_update().order_by("position"))
    for song in songs:
        if (title := titles.get(song.pk, song.title)) != song.title:
            record(booking, f"renamed “{song.title}” to “{title}”", actor=by, song=song)
            song.title = title
            song.save(update_fields=["title"])
    sorted_songs = sorted(songs, key=lambda song: (order.get(song.pk, song.position), song.position))
    if sorted_songs != songs:
        _reorder(booking, sorted_songs)
        record(booking, "changed the order of the songs", actor=by)


@transaction.atomic
def set_due_date(*, booking: Booking, due_on: date | None, by: User) -> bool:
    """Set it where nothing binds yet, else propose it to the client. Tells whether it has to be answered."""
    booking = _locked(booking)
    if due_on == (booking.due_proposed_on or booking.due_on):
        return booking.due_proposed_on is not None
    if due_on == booking.due_on and booking.due_proposed_on:
        record(booking, f"took back {_day(booking.due_proposed_on)} as the new due date", actor=by)
        _propose(booking, None)
        return False
    if booking.stage == BookingStage.QUOTED:
        raise CorrectionError("The quote that is with the client says the due date. Send a new version of the quote.")
    if booking.stage not in AGREED_STAGES:
        _set_due(booking, due_on, zone=by.time_zone)
        record(booking, f"set the due date to {_day(due_on)}" if due_on else "took the due date away", actor=by)
        return False
    if due_on is None:
        raise CorrectionError("A due date was agreed. Propose another one, or send a new version of the quote.")
    _propose(booking, due_on)
    record(booking, f"proposed {_day(due_on)} as the new due date", actor=by)
    _tell(booking, by)
    return True


@transaction.atomic
def answer_due_date(*, booking: Booking, accepts: bool, due_on: date, by: User) -> None:
    """The client's word on the date that their page showed."""
    booking = _locked(booking)
    if booking.due_proposed_on != due_on:
        raise CorrectionError("This due date is not proposed any more. Here is what stands now.")
    if accepts:
        _set_due(booking, due_on, zone=booking.due_zone)
        record(booking, f"accepted {_day(due_on)} as the new due date", actor=by)
    else:
        stands = f": {_day(booking.due_on)} stands" if booking.due_on else ""
        record(booking, f"declined {_day(due_on)} as the new due date{stands}", actor=by)
    _propose(booking, None)
    _tell(booking, by)


@transaction.atomic
def withdraw_seat(*, member: Member, by: User) -> None:
    """They see the booking no more, from their next request on. What they said and sent stays; inviting undoes it."""
    booking = _locked(member.booking)
    if booking.stage != BookingStage.ENQUIRY and booking.members.count() == 1:
        raise CorrectionError(
            f"{member.user.name} is the only client of this booking. Invite another person first, or cancel it."
        )
    if booking.members.filter(pk=member.pk).delete()[0]:
        record(booking, f"removed {member.user.name} from this booking", actor=by)
        if not Member.objects.filter(user=member.user_id).exists():
            withdraw_invitations(member.user)
        if member.told_at:  # who never heard of the booking does not hear of this either
            for call in hooks.on_seat_withdrawn:
                call(booking.pk, member.user_id, by.pk)


@transaction.atomic
def take_out_song(*, song: Song, by: User) -> None:
    """Out of the work, not out of the house: what was said and sent stays, and it can be put back."""
    booking = _locked(song.booking)
    song = Song.objects.select_for_update().get(pk=song.pk)
    if song.stage in DELIVERED_STAGES:
        raise CorrectionError(f"“{song.title}” is {song.get_stage_display()}: its files are the client’s by now.")
    if song.stage != SongStage.TAKEN_OUT:
        song.leave()
        _changed(booking, song, f"took “{song.title}” out of the booking", by)


@transaction.atomic
def put_back_song(*, song: Song, by: User) -> None:
    """To the stage that it had. A booking that closed because the song was taken out is open again."""
    booking = lock_booking(song.booking)
    if booking.is_over and booking.stage != BookingStage.CLOSED:
        raise BookingClosedError(f"This booking is {booking.get_stage_display()}: what it says stands.")
    song = Song.objects.select_for_update().get(pk=song.pk)
    if song.stage == SongStage.TAKEN_OUT:
        song.come_back()
        if booking.is_over:
            move_booking(booking, BookingStage.WORKING, text="the booking is open again", actor=by)
        _changed(booking, song, f"put “{song.title}” back into the booking", by)


def _changed(booking: Booking, song: Song, text: str, by: User) -> None:
    record(booking, text, actor=by, song=song)
    song.pass_turn()
    follow_songs(booking)
    for call in hooks.on_songs_changed:
        call(song.pk, by.pk)


def _locked(booking: Booking) -> Booking:
    booking = Booking.objects.select_for_update().get(pk=booking.pk)
    if booking.is_over:
        raise BookingClosedError(f"This booking is {booking.get_stage_display()}: what it says stands.")
    return booking


def _reorder(booking: Booking, songs: list[Song]) -> None:
    booking.songs.update(position=F("position") + OUT_OF_THE_WAY)
    for place, song in enumerate(songs, start=1):
        song.position = place
    Song.objects.bulk_update(songs, ["position"], batch_size=100)


def _set_due(booking: Booking, due_on: date | None, *, zone: str) -> None:
    booking.due_on, booking.due_zone = due_on, zone
    booking.save(update_fields=["due_on", "due_zone"])


def _propose(booking: Booking, due_on: date | None) -> None:
    booking.due_proposed_on = due_on
    booking.save(update_fields=["due_proposed_on"])


def _day(day: date) -> str:
    return f"{day.day} {day:%B %Y}"


def _tell(booking: Booking, by: User) -> None:
    for call in hooks.on_due_date_asked:
        call(booking.pk, by.pk)

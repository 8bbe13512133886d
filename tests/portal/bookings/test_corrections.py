"""Corrections: each has its line in the timeline, is made by the right person, and is refused in words."""

from __future__ import annotations

import re
from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from portal.bookings import corrections
from portal.bookings.board_filter import BoardFilter
from portal.bookings.board_page import board_page
from portal.bookings.errors import BookingClosedError, CorrectionError
from portal.bookings.models import Booking, Song
from portal.bookings.services import move_song
from portal.bookings.stages import BookingStage, SongStage, Turn
from portal.intake.desk.queue_filter import Look
from portal.intake.desk.queue_page import queue_page
from portal.mailroom.models import Mail
from portal.people.services import invite
from tests.factories import make_booking, make_client, make_invited_client, make_song

pytestmark = pytest.mark.django_db
MAY, JUNE = date(2030, 5, 1), date(2030, 6, 1)


def said(booking: Booking) -> list[str]:
    return list(booking.timeline.values_list("text", flat=True))


def test_of_a_booking_that_is_over_only_people_are_removed(client: Client) -> None:
    booking = make_booking(client=make_client(), songs=2)
    client.force_login(booking.created_by)
    address = reverse("bookings:correct", args=[booking.pk])
    assert "Save the songs" in client.get(address).content.decode()
    booking.move_to(BookingStage.CANCELLED)

    page = client.get(address).content.decode()
    assert "This booking is cancelled: what it says stands." in page
    forms = re.findall('<form[^>]* action="([^"]*)"', page.partition("<main")[2])
    assert forms == [reverse("bookings:withdraw-seat", args=[booking.members.get().pk])]


def test_titles_and_the_order_of_songs_are_corrected(client: Client) -> None:
    booking = make_booking(songs=3, title="Wrong")
    client.force_login(booking.created_by)
    first, second, third = booking.songs.all()
    client.post(reverse("bookings:correct", args=[booking.pk]), {"title": "Right", "due_on": ""})
    typed = {f"place-{first.pk}": "9", f"place-{second.pk}": "1", f"place-{third.pk}": "2"}
    titles = {f"title-{song.pk}": song.title for song in (first, second)} | {f"title-{third.pk}": "Ωδή 🥁"}
    client.post(reverse("bookings:correct-songs", args=[booking.pk]), typed | titles)
    booking.refresh_from_db()
    assert (booking.title, booking.folded) == ("Right", "right")
    assert [(song.title, song.position) for song in booking.songs.all()] == [
        ("Song 2", 1),
        ("Ωδή 🥁", 2),
        ("Song 1", 3),
    ]
    assert said(booking)[-3:] == [
        "renamed the booking from “Wrong” to “Right”",
        "renamed “Song 3” to “Ωδή 🥁”",
        "changed the order of the songs",
    ]


def test_the_same_again_writes_nothing() -> None:
    booking = make_booking(songs=2)
    before = said(booking)
    by = booking.created_by
    corrections.rename_booking(booking=booking, title=booking.title, by=by)
    corrections.correct_songs(booking=booking, titles={}, order={}, by=by)
    corrections.set_due_date(booking=booking, due_on=None, by=by)
    assert said(booking) == before


def test_three_hundred_songs_are_sorted() -> None:
    booking = make_booking()
    Song.objects.bulk_create(Song(booking=booking, title=f"{n}", position=n) for n in range(1, 301))
    order = {song.pk: 301 - song.position for song in booking.songs.all()}
    corrections.correct_songs(booking=booking, titles={}, order=order, by=booking.created_by)
    assert [song.title for song in booking.songs.all()] == [str(n) for n in range(300, 0, -1)]


def test_before_anything_is_agreed_the_due_date_is_set() -> None:
    booking = make_booking(client=make_client())
    assert corrections.set_due_date(booking=booking, due_on=MAY, by=booking.created_by) is False
    booking.refresh_from_db()
    assert (booking.due_on, booking.due_proposed_on) == (MAY, None)
    assert said(booking)[-1] == "set the due date to 1 May 2030"


def test_a_quote_that_is_out_says_the_due_date() -> None:
    booking = make_booking(client=make_client(), stage="quoted", due_on=MAY)
    with pytest.raises(CorrectionError, match="Send a new version of the quote"):
        corrections.set_due_date(booking=booking, due_on=JUNE, by=booking.created_by)


@pytest.mark.parametrize(("answer", "due_on"), [("accept", JUNE), ("decline", MAY)])
def test_an_agreed_due_date_changes_with_the_clients_word(client: Client, answer: str, due_on: date) -> None:
    booking = make_booking(client=(mara := make_client()), stage="working", due_on=MAY)
    client.force_login(booking.created_by)
    typed = {"title": booking.title, "due_on": JUNE.isoformat()}
    for _ in range(2):
        client.post(reverse("bookings:correct", args=[booking.pk]), typed)
    booking.refresh_from_db()
    assert (booking.due_on, booking.due_proposed_on) == (MAY, JUNE)
    assert Mail.objects.filter(to=mara.email, subject__contains="due date").count() == 1
    client.force_login(mara)
    page = client.get(booking.get_absolute_url()).content.decode()
    assert "proposes" in page
    for _ in range(2):  # two people of one booking press at once
        client.post(reverse("bookings:answer-due", args=[booking.pk]), {"answer": answer, "due_on": JUNE.isoformat()})
    booking.refresh_from_db()
    assert (booking.due_on, booking.due_proposed_on) == (due_on, None)
    assert Mail.objects.filter(to=booking.created_by.email, subject__contains="due date").count() == 1
    assert sum("as the new due date" in text for text in said(booking)) == 2


def test_a_proposed_due_date_is_taken_back_by_typing_the_old_one() -> None:
    booking = make_booking(client=make_client(), stage="working", due_on=MAY)
    for due_on in (JUNE, MAY):
        corrections.set_due_date(booking=booking, due_on=due_on, by=booking.created_by)
    booking.refresh_from_db()
    assert (booking.due_on, booking.due_proposed_on) == (MAY, None)
    with pytest.raises(CorrectionError, match="not proposed any more"):
        corrections.answer_due_date(booking=booking, accepts=True, due_on=JUNE, by=make_client())
    with pytest.raises(CorrectionError, match="was agreed"):
        corrections.set_due_date(booking=booking, due_on=None, by=booking.created_by)


def test_a_seat_that_is_withdrawn_loses_access_at_once(client: Client) -> None:
    booking = make_booking(client=(mara := make_client()), stage="working")
    second = booking.members.create(user=make_client())
    client.force_login(mara)
    assert client.get(booking.get_absolute_url()).status_code == 200
    corrections.withdraw_seat(member=booking.members.get(user=mara), by=booking.created_by)
    assert client.get(booking.get_absolute_url()).status_code == 404
    assert said(booking)[-1] == f"removed {mara.name} from this booking"
    with pytest.raises(CorrectionError, match="the only client"):
        corrections.withdraw_seat(member=second, by=booking.created_by)


def test_who_loses_the_only_seat_before_coming_in_has_no_link_any_more() -> None:
    booking = make_booking(client=(mara := make_invited_client()), stage="working")
    booking.members.create(user=make_client())
    invite(email=mara.email, name=mara.name, sent_by=booking.created_by, lands_on=booking.get_absolute_url())
    assert mara.invitations.usable().count() == 1
    corrections.withdraw_seat(member=booking.members.get(user=mara), by=booking.created_by)
    assert not mara.invitations.usable().exists()


def test_a_song_taken_out_is_nobodys_turn_and_comes_back_to_where_it_was(client: Client) -> None:
    booking = make_booking(client=make_client(), stage="working")
    song, other = make_song(booking=booking, stage=SongStage.ON_DESK), make_song(booking=booking)
    client.force_login(booking.created_by)
    for _ in range(2):
        client.post(reverse("bookings:take-out", args=[song.pk]))
    song.refresh_from_db()
    assert (song.stage, song.turn) == (SongStage.TAKEN_OUT, Turn.NOBODY)
    move_song(song, SongStage.READY, text="a check that was late")
    assert Song.objects.get(pk=song.pk).stage == SongStage.TAKEN_OUT
    assert song not in [row.song for row in queue_page(booking.created_by, Look()).rows]
    (lane,) = board_page(booking.created_by, BoardFilter()).lanes
    assert lane.cards[0].songs == ((1, other.get_stage_display()),)
    assert said(booking).count(f"took “{song.title}” out of the booking") == 1

    for _ in range(2):
        client.post(reverse("bookings:put-back", args=[song.pk]))
    song.refresh_from_db()
    assert (song.stage, song.turn, song.taken_out_of) == (SongStage.ON_DESK, Turn.DRUMMER, "")
    assert said(booking).count(f"put “{song.title}” back into the booking") == 1


def test_a_booking_that_closed_without_its_last_song_opens_again_with_it() -> None:
    booking = make_booking(client=make_client(), stage="working", agreed_once=True, quote_state="accepted")
    song = make_song(booking=booking)
    make_song(booking=booking, stage=SongStage.ACCEPTED)
    corrections.take_out_song(song=song, by=booking.created_by)
    booking.refresh_from_db()
    assert booking.stage == BookingStage.CLOSED
    corrections.put_back_song(song=song, by=booking.created_by)
    booking.refresh_from_db()
    assert (booking.stage, booking.turn) == (BookingStage.WORKING, Turn.CLIENT)


def test_a_song_of_a_cancelled_booking_stays_out() -> None:
    song = make_song(stage=SongStage.TAKEN_OUT, taken_out_of="waiting")
    Booking.objects.filter(pk=song.booking_id).update(stage="cancelled")
    with pytest.raises(BookingClosedError):
        corrections.put_back_song(song=song, by=song.booking.created_by)


def test_a_delivered_song_stays() -> None:
    song = make_song(booking=make_booking(client=make_client(), stage="working"), stage=SongStage.DELIVERED)
    with pytest.raises(CorrectionError, match="its files are the client’s"):
        corrections.take_out_song(song=song, by=song.booking.created_by)


def test_what_is_over_stands() -> None:
    booking = make_booking(client=make_client(), songs=1, stage="closed")
    with pytest.raises(BookingClosedError, match="what it says stands"):
        corrections.rename_booking(booking=booking, title="Other", by=booking.created_by)

"""What the client hears of a change that the drummer made: one true sentence, to who knew of the booking."""

from __future__ import annotations

import pytest

from portal.bookings.corrections import put_back_song, take_out_song, withdraw_seat
from portal.bookings.models import Booking
from portal.bookings.services import add_song, note_told
from portal.mailroom.models import Mail
from portal.people.models import User
from tests.factories import make_booking, make_client, make_drummer

pytestmark = pytest.mark.django_db


@pytest.fixture
def mara() -> User:
    return make_client(name="Mara", email="mara@example.com")


def booking_of(mara: User, *, stage: str) -> Booking:
    jo = make_drummer(name="Jo")
    booking = make_booking(client=mara, drummer=jo, songs=2, stage=stage, title="Cold Bus Under Spoons")
    note_told(booking, mara)
    return booking


def bodies() -> list[str]:
    return [mail.body.split("\n\n")[1] for mail in Mail.objects.order_by("pk")]


def test_who_loses_their_seat_hears_it_once(mara: User) -> None:
    booking = booking_of(mara, stage="working")
    booking.members.create(user=make_client())
    withdraw_seat(member=booking.members.get(user=mara), by=booking.created_by)

    mail = Mail.objects.get()
    assert (mail.to, mail.subject) == (mara.email, "You are no longer in “Cold Bus Under Spoons”")
    assert bodies() == ["Jo has removed you from “Cold Bus Under Spoons”: you can no longer open its pages."]
    assert "http://testserver/board/" in mail.body


def test_who_never_heard_of_the_booking_does_not_hear_of_its_end(mara: User) -> None:
    booking = booking_of(mara, stage="working")
    withdraw_seat(member=booking.members.create(user=make_client()), by=booking.created_by)

    assert not Mail.objects.exists()


@pytest.mark.parametrize("stage", ["quoted", "agreed", "working"])
def test_songs_that_go_and_come_after_the_quote_was_sent_are_told(mara: User, stage: str) -> None:
    booking = booking_of(mara, stage=stage)
    booking.members.create(user=make_client())  # not told of anything yet
    by, song = booking.created_by, booking.songs.all()[0]
    take_out_song(song=song, by=by)
    put_back_song(song=song, by=by)
    added = add_song(booking=booking, title="Paper Bin Behind Goose", by=by)

    price = "A price changes only when you accept a new quote."
    assert bodies() == [
        f"Jo has taken “Song 1” out of “Cold Bus Under Spoons”. {price}",
        f"“Song 1” is now part of “Cold Bus Under Spoons”. {price}",
        f"“Paper Bin Behind Goose” is now part of “Cold Bus Under Spoons”. {price}",
    ]
    assert {mail.to for mail in Mail.objects.all()} == {mara.email}
    assert f"http://testserver{added.get_absolute_url()}" in Mail.objects.latest("pk").body


def test_before_a_quote_was_sent_songs_come_and_go_in_silence(mara: User) -> None:
    booking = booking_of(mara, stage="enquiry")
    take_out_song(song=booking.songs.all()[0], by=booking.created_by)
    add_song(booking=booking, title="Paper Bin Behind Goose", by=booking.created_by)

    assert not Mail.objects.exists()

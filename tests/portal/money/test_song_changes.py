"""A song that comes or goes after a quote was accepted: its price is asked for."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from portal.bookings.corrections import put_back_song, take_out_song
from portal.bookings.models import Booking
from portal.bookings.services import add_song, move_song
from portal.bookings.stages import BookingStage, SongStage
from portal.money import services
from portal.money.models import Quote
from tests.factories import make_booking, make_client, make_sent_quote

pytestmark = pytest.mark.django_db


def accepted_booking() -> Booking:
    booking = make_booking(client=make_client(), songs=2)
    quote = make_sent_quote(booking=booking, prices=(10_000, 20_000))
    for line, song in zip(quote.lines.all(), booking.songs.all(), strict=True):
        line.text = f"Drums for {song.title}"
        line.save()
    services.accept_quote(quote=quote, by=booking.members.get().user)
    return Booking.objects.get(pk=booking.pk)


def draft_lines(booking: Booking) -> list[tuple[str, int]]:
    draft = booking.quotes.get(state=Quote.State.DRAFT)
    return [(line.text, line.unit_price_minor) for line in draft.lines.all()]


def test_nothing_is_drafted_before_a_quote_is_accepted() -> None:
    booking = make_booking(songs=1)
    add_song(booking=booking, title="More", by=booking.created_by)
    assert not booking.quotes.exists()


def test_a_song_that_is_added_has_its_line_and_its_price_open() -> None:
    booking = accepted_booking()
    add_song(booking=booking, title="Third one", by=booking.created_by)
    assert draft_lines(booking) == [("Drums for Song 1", 10_000), ("Drums for Song 2", 20_000), ("Third one", 0)]
    assert booking.quotes.filter(state=Quote.State.ACCEPTED).count() == 1
    client = booking.members.get().user
    assert Quote.objects.visible_to(client).count() == 1


def test_a_song_that_is_taken_out_leaves_the_draft_and_comes_back_at_the_agreed_price() -> None:
    booking = accepted_booking()
    song = booking.songs.first()
    assert song is not None
    take_out_song(song=song, by=booking.created_by)
    assert draft_lines(booking) == [("Drums for Song 2", 20_000)]
    put_back_song(song=song, by=booking.created_by)
    assert draft_lines(booking) == [("Drums for Song 2", 20_000), ("Drums for Song 1", 10_000)]
    assert booking.quotes.count() == 2


def test_taking_out_the_last_open_song_closes_the_booking_and_drafts_nothing(client: Client) -> None:
    booking = accepted_booking()
    done, other = booking.songs.all()
    move_song(done, SongStage.ACCEPTED, text="accepted")
    client.force_login(booking.created_by)
    answer = client.post(reverse("bookings:take-out", args=[other.pk]), follow=True)
    assert Booking.objects.get(pk=booking.pk).stage == BookingStage.CLOSED
    assert booking.quotes.count() == 1
    assert "The booking is closed now: what was agreed stands." in answer.content.decode()

    put_back_song(song=other, by=booking.created_by)
    assert Booking.objects.get(pk=booking.pk).stage == BookingStage.WORKING
    assert [text for text, _ in draft_lines(booking)] == ["Drums for Song 1", "Drums for Song 2"]

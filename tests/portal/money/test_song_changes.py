"""A song that comes or goes after a quote was accepted: its price is asked for before anything is sent."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from portal.bookings.corrections import put_back_song, take_out_song
from portal.bookings.models import Booking, Song
from portal.bookings.services import add_song, move_song
from portal.bookings.stages import BookingStage, SongStage
from portal.money import services
from portal.money.errors import QuoteError
from portal.money.models import Quote
from tests.factories import make_booking, make_client, make_quote, make_sent_quote

pytestmark = pytest.mark.django_db
CONDITIONS = {
    "currency": "EUR",
    "deposit_percent": "50",
    "rounds_included": "2",
    "lines-TOTAL_FORMS": "3",
    "lines-INITIAL_FORMS": "0",
}


def accepted_booking(*, each_its_own: bool = True) -> Booking:
    """Two songs: a line for each, or lines that are for no one song, though one bears a title."""
    booking = make_booking(client=make_client(), songs=2)
    quote = make_sent_quote(booking=booking, prices=(10_000, 20_000))
    for line, song in zip(quote.lines.all(), booking.songs.all(), strict=True):
        line.text = f"Drums for {song.title}"
        line.song = song if each_its_own else None
        line.save()
    services.accept_quote(quote=quote, by=booking.members.get().user)
    return Booking.objects.get(pk=booking.pk)


def first_song(booking: Booking) -> Song:
    return booking.songs.order_by("pk")[0]


def draft_of(booking: Booking) -> Quote:
    return booking.quotes.get(state=Quote.State.DRAFT)


def draft_lines(booking: Booking) -> list[tuple[str, int, bool]]:
    return [(line.text, line.unit_price_minor, line.price_asked) for line in draft_of(booking).lines.all()]


def test_nothing_is_drafted_before_a_quote_is_accepted() -> None:
    booking = make_booking(songs=1)
    add_song(booking=booking, title="More", by=booking.created_by)
    assert not booking.quotes.exists()


def test_a_song_that_is_added_has_its_line_and_its_price_is_asked_for() -> None:
    booking = accepted_booking()
    add_song(booking=booking, title="Song 1, long", by=booking.created_by)
    assert draft_lines(booking) == [
        ("Drums for Song 1", 10_000, False),
        ("Drums for Song 2", 20_000, False),
        ("Song 1, long", 0, True),
    ]
    assert booking.quotes.filter(state=Quote.State.ACCEPTED).count() == 1
    client = booking.members.get().user
    assert Quote.objects.visible_to(client).count() == 1


def test_a_price_that_is_asked_for_is_not_sent_unnoticed(client: Client) -> None:
    booking = accepted_booking()
    added = add_song(booking=booking, title="Third one", by=booking.created_by)
    with pytest.raises(QuoteError, match="check the price of “Third one”"):
        services.send_quote(quote=draft_of(booking), by=booking.created_by)

    client.force_login(booking.created_by)
    address = reverse("money:quote", args=[booking.pk])
    page = client.get(address).content.decode()
    assert f'name="lines-2-song" value="{added.pk}"' in page
    assert 'name="lines-2-unit_price" value=' not in page
    line = {"lines-2-text": "Third one", "lines-2-song": str(added.pk), "lines-2-price_asked": "True"}
    unpriced = client.post(address, CONDITIONS | line)
    assert unpriced.status_code == 422
    assert "Enter a price. 0 is free of charge." in unpriced.content.decode()

    client.post(address, CONDITIONS | line | {"lines-2-unit_price": "0"})
    services.send_quote(quote=draft_of(booking), by=booking.created_by)
    assert booking.quotes.get(state=Quote.State.SENT).lines.get().song == added


def test_a_song_that_is_taken_out_leaves_the_draft_and_comes_back_at_the_agreed_price() -> None:
    booking = accepted_booking()
    take_out_song(song=first_song(booking), by=booking.created_by)
    assert draft_lines(booking) == [("Drums for Song 2", 20_000, False)]
    put_back_song(song=first_song(booking), by=booking.created_by)
    assert draft_lines(booking) == [("Drums for Song 2", 20_000, False), ("Drums for Song 1", 10_000, False)]
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
    assert [text for text, _, _ in draft_lines(booking)] == ["Drums for Song 1", "Drums for Song 2"]


def test_a_line_is_not_found_by_the_title_in_its_text_but_asked_about(client: Client) -> None:
    booking = accepted_booking(each_its_own=False)
    asked = [("Drums for Song 1", 10_000, True), ("Drums for Song 2", 20_000, True)]
    take_out_song(song=first_song(booking), by=booking.created_by)
    assert draft_lines(booking) == asked
    put_back_song(song=first_song(booking), by=booking.created_by)
    assert draft_lines(booking) == asked

    client.force_login(booking.created_by)
    page = client.get(reverse("money:quote", args=[booking.pk])).content.decode()
    assert page.count("The songs have changed: is this price still right?") == 2
    assert 'name="lines-0-unit_price" value="100.00"' in page


def test_a_renamed_song_keeps_its_line() -> None:
    booking = accepted_booking()
    song = first_song(booking)
    song.title = "Another name"
    song.save()
    take_out_song(song=song, by=booking.created_by)
    assert draft_lines(booking) == [("Drums for Song 2", 20_000, False)]


def test_a_first_quote_begins_with_a_line_for_each_song(client: Client) -> None:
    booking = make_booking(client=make_client(), songs=2)
    client.force_login(booking.created_by)
    page = client.get(reverse("money:quote", args=[booking.pk])).content.decode()
    for place, song in enumerate(booking.songs.all()):
        assert f'name="lines-{place}-text" value="{song.title}"' in page
        assert f'name="lines-{place}-song" value="{song.pk}"' in page


def test_a_line_belongs_to_no_song_of_another_booking() -> None:
    booking, other = make_booking(songs=1), make_booking(songs=1)
    quote = make_quote(booking=booking)
    conditions = services.Conditions("EUR", 0, False, 2, "", None, None, "")
    line = services.Line("Drums", Decimal(1), Decimal(10), song_id=first_song(other).pk)
    services.save_draft(booking=booking, conditions=conditions, lines=[line], by=booking.created_by)
    assert quote.lines.get().song is None

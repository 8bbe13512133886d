"""The deposit is asked for when a song waits for nothing else, and what asks for money says how to pay."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from portal.bookings.models import Booking
from portal.bookings.services import move_song, note_booking
from portal.bookings.stages import SongStage
from portal.bookings.turn_page import booking_turn
from portal.mailroom.models import Mail
from portal.money import payments
from portal.money.models import Quote
from portal.people.models import House
from tests.factories import make_booking, make_client, make_sent_quote
from tests.portal.pages import flat

pytestmark = pytest.mark.django_db
HOW = "Account 12 34 56 at the savings bank, with the booking’s name."


def agreed(client: Client, *, songs: int) -> Booking:
    """350.00 EUR with a deposit of half, accepted on the page: half of it is due first."""
    mara = make_client(name="Mara")
    quote = make_sent_quote(booking=make_booking(client=mara, songs=songs), prices=(35_000,), deposit_percent=50)
    client.force_login(mara)
    page = client.post(reverse("money:decide", args=[quote.pk]), {"decision": "accept"}, follow=True)
    assert "The deposit of 175.00\xa0EUR is due before tracking begins" in flat(page.content.decode())
    return Booking.objects.get(pk=quote.booking_id)


def wait_for_the_deposit(booking: Booking) -> None:
    for song in booking.songs.all():
        move_song(song, SongStage.ON_DESK, text="on the desk", map_approved=True)


def test_the_deposit_is_asked_for_once_when_a_song_waits_for_it_alone(client: Client) -> None:
    House.objects.update_or_create(pk=1, defaults={"how_to_pay": HOW})
    booking = agreed(client, songs=2)
    payments.ask_for_deposits()
    assert not Mail.objects.filter(subject__contains="deposit").exists()

    wait_for_the_deposit(booking)
    for _ in range(2):
        payments.ask_for_deposits()
    mail = Mail.objects.get(subject=f"The deposit for “{booking.title}” is due")
    assert mail.to == booking.members.get().user.email
    for words in ("“Song 1”, “Song 2” are ready", "175.00\xa0EUR", f"How to pay:\n{HOW}", "/quote/#payments"):
        assert words in mail.body


def test_nothing_is_said_of_how_to_pay_that_the_house_has_not_written(client: Client) -> None:
    booking = agreed(client, songs=1)
    wait_for_the_deposit(booking)
    payments.ask_for_deposits()
    assert "How to pay" not in Mail.objects.get(subject__contains="deposit").body
    page = flat(client.get(reverse("money:quote", args=[booking.pk])).content.decode())
    assert "has not written here how to pay" in page


def test_paying_is_no_circle_and_the_drummer_lands_on_the_open_form(client: Client) -> None:
    """Several songs wait for one deposit: the turn leads to where it says how to pay, and from there nowhere else."""
    House.objects.update_or_create(pk=1, defaults={"how_to_pay": HOW})
    booking = agreed(client, songs=2)
    wait_for_the_deposit(booking)
    booking = Booking.objects.get(pk=booking.pk)
    mara, jo = booking.members.get().user, booking.created_by
    address = reverse("money:quote", args=[booking.pk])
    for reader in (mara, jo):
        assert booking_turn(booking, reader).href == f"{address}#payments"
    page = flat(client.get(address).content.decode())
    assert "How to pay the deposit, 175.00\xa0EUR" in page
    assert HOW in page
    client.force_login(jo)
    page = flat(client.get(address).content.decode())
    assert "<details open> <summary>Record a payment</summary>" in page


def test_an_offer_says_how_to_pay_before_it_is_accepted(client: Client) -> None:
    House.objects.update_or_create(pk=1, defaults={"how_to_pay": HOW})
    mara = make_client()
    quote = make_sent_quote(booking=make_booking(client=mara))
    client.force_login(mara)
    assert HOW in client.get(reverse("money:quote", args=[quote.booking_id])).content.decode()
    assert HOW not in Quote.objects.get(pk=quote.pk).accepted_text
    free = make_sent_quote(booking=make_booking(client=mara), prices=(0,))
    note_booking(free.booking)
    assert HOW not in client.get(reverse("money:quote", args=[free.booking_id])).content.decode()

"""The deposit is asked for when a song waits for nothing else, and what asks for money says how to pay."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from portal.bookings.models import Booking
from portal.bookings.services import cancel_booking, move_song, note_booking, note_told
from portal.bookings.stages import SongStage
from portal.bookings.turn_page import booking_turn
from portal.mailroom.models import Mail
from portal.money import payments, services
from portal.money.models import Payment, Quote
from portal.people.models import House
from tests.factories import make_booking, make_client, make_quote, make_sent_quote
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


def test_a_quote_of_a_cancelled_booking_says_so_and_the_e_mail_says_why(client: Client) -> None:
    mara = make_client()
    quote = make_sent_quote(booking=make_booking(client=mara, songs=1))
    note_told(quote.booking, mara)
    cancel_booking(booking=quote.booking, by=quote.booking.created_by, reason="My wrist needs a rest.")
    client.force_login(mara)
    page = client.post(reverse("money:decide", args=[quote.pk]), {"decision": "accept"}, follow=True)
    assert "has cancelled this booking, so its quote can no longer be answered" in flat(page.content.decode())
    assert "there is a newer one" not in page.content.decode()
    mail = Mail.objects.get(to=mara.email, subject=f"“{quote.booking.title}” is cancelled")
    assert ":\n\nMy wrist needs a rest.\n\nYou can still read" in mail.body
    page = client.get(quote.booking.get_absolute_url())
    assert "cancelled, was waiting for files" in flat(page.content.decode())


def test_the_e_mail_of_a_quote_says_what_it_is_for_how_much_and_until_when() -> None:
    booking = make_booking(client=make_client(), title="Cold Bus Under Spoons")
    quote = make_quote(booking=booking, prices=(35_000,), valid_until=date(2036, 11, 29), due_on=date(2036, 12, 24))
    services.send_quote(quote=quote, by=booking.created_by)
    body = Mail.objects.get().body
    for words in ("for “Cold Bus Under Spoons”", "Total: 350.00\xa0EUR.", "29 November 2036", "24 December 2036"):
        assert words in body


def test_after_the_balance_the_e_mail_leads_to_the_booking_with_its_deliveries() -> None:
    booking = make_booking(client=make_client(), songs=1)
    quote = make_sent_quote(booking=booking, prices=(35_000,), deposit_percent=0, balance_before_files=True)
    services.accept_quote(quote=quote, by=booking.members.get().user)
    payments.record_payment(
        booking=booking,
        kind=Payment.Kind.BALANCE,
        amount=Decimal(350),
        received_on=date(2026, 11, 29),
        by=booking.created_by,
    )
    body = Mail.objects.get(subject__contains="has arrived").body
    assert "received on 29 November 2026" in body
    assert f"{booking.get_absolute_url()}\n" in body
    assert "/quote/" not in body

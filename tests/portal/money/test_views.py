from __future__ import annotations

from datetime import date
from http import HTTPStatus
from typing import cast

import pytest
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from portal.bookings.models import Booking, Song
from portal.bookings.services import add_song
from portal.bookings.stages import BookingStage
from portal.money import services
from portal.money.models import Payment, Quote
from portal.people.models import House, User
from tests.factories import make_booking, make_client, make_drummer, make_payment, make_quote, make_sent_quote
from tests.portal.pages import flat

pytestmark = pytest.mark.django_db


@pytest.fixture
def drummer(client: Client) -> User:
    drummer = make_drummer()
    client.force_login(drummer)
    return drummer


def typed(**changes: str) -> dict[str, str]:
    """What a browser sends from the editor with one line written."""
    return {
        "currency": "EUR",
        "deposit_percent": "50",
        "balance_before_files": "on",
        "rounds_included": "2",
        "due_on": "2026-12-24",
        "valid_until": "",
        "terms": "",
        "lines-TOTAL_FORMS": "3",
        "lines-INITIAL_FORMS": "0",
        "lines-0-text": "Drums",
        "lines-0-quantity": "2",
        "lines-0-unit_price": "175.00",
        "lines-1-text": "",
        "lines-1-quantity": "1",
        "lines-1-unit_price": "",
        "lines-2-text": "",
        "lines-2-quantity": "",
        "lines-2-unit_price": "",
    } | changes


def quote_url(booking: Booking) -> str:
    return reverse("money:quote", args=[booking.pk])


def test_the_drummer_writes_saves_and_sends(client: Client, drummer: User) -> None:
    booking = make_booking(client=make_client(), drummer=drummer)
    assert "Write the quote" in client.get(quote_url(booking)).content.decode()

    client.post(quote_url(booking), typed())
    quote = booking.quotes.get()
    assert (quote.state, quote.total_minor, quote.lines.count()) == ("draft", 35_000, 1)
    assert "350.00" in client.get(quote_url(booking)).content.decode()

    shown = client.post(quote_url(booking), typed(**{"lines-0-unit_price": "200"}, preview="1"), follow=True)
    assert "400.00" in shown.content.decode()
    assert send(client, booking).status_code == HTTPStatus.FOUND
    quote.refresh_from_db()
    assert (quote.state, quote.total_minor) == ("sent", 40_000)
    page = client.get(quote_url(booking)).content.decode()
    assert "Write a new version" in page
    assert "I accept" not in page


def send(client: Client, booking: Booking) -> HttpResponse:
    """Press the button of the page that shows what will be sent."""
    url = reverse("money:send", args=[booking.pk])
    seen = client.get(url).context["seen"]
    return cast("HttpResponse", client.post(url, {"seen": seen}))


def test_the_preview_shows_what_the_client_will_read_and_keeps_nothing(client: Client, drummer: User) -> None:
    """Twice 1 250.50 is 2 501.00; half of it is 1 250.50."""
    booking = make_booking(client=make_client())
    url, before = reverse("money:preview", args=[booking.pk]), booking.timeline.count()
    page = client.post(url, typed(**{"lines-0-unit_price": "1.250,50"})).content.decode()
    assert "2\u202f501.00" in page
    assert "Deposit, 50" in page
    assert not Quote.objects.exists()
    assert booking.timeline.count() == before

    page = client.post(url, typed(**{"lines-0-unit_price": "1.250"})).content.decode()
    assert "Line 1: “1.250” can be read in two ways. Please write 1250 or 1.25." in page
    assert "Total" not in page


@pytest.mark.parametrize(("written", "minor"), [("320,50", 32_050), ("1.250,00", 125_000), ("٣٢٠٫٥٠", 32_050)])
def test_amounts_are_read_as_they_are_written_anywhere(client: Client, drummer: User, written: str, minor: int) -> None:
    booking = make_booking(client=make_client())
    client.post(quote_url(booking), typed(**{"lines-0-unit_price": written}))
    assert [line.unit_price_minor for line in booking.quotes.get().lines.all()] == [minor]


def test_what_was_changed_since_it_was_looked_at_is_not_sent(client: Client, drummer: User) -> None:
    booking = make_booking(client=make_client())
    client.post(quote_url(booking), typed())
    url = reverse("money:send", args=[booking.pk])
    seen = client.get(url).context["seen"]
    client.post(quote_url(booking), typed(**{"lines-0-unit_price": "9"}))

    response = client.post(url, {"seen": seen})

    assert response.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "changed since this page was loaded" in response.content.decode()
    assert booking.quotes.get().state == "draft"


def test_without_a_draft_there_is_nothing_to_send(client: Client, drummer: User) -> None:
    booking = make_booking(client=make_client())
    response = client.get(reverse("money:send", args=[booking.pk]), follow=True)
    assert "There is no draft to send" in response.content.decode()


def test_a_new_version_starts_from_the_last_one(client: Client, drummer: User) -> None:
    quote = make_sent_quote(booking=make_booking(client=make_client()), prices=[12_345])
    page = client.get(f"{quote_url(quote.booking)}?new").content.decode()
    assert 'value="123.45"' in page


def test_in_a_booking_that_is_over_no_new_version_is_offered(client: Client, drummer: User) -> None:
    quote = make_sent_quote(booking=make_booking(client=make_client()))
    assert "Write a new version" in client.get(quote_url(quote.booking)).content.decode()
    quote.booking.move_to(BookingStage.CANCELLED)

    assert "Write a new version" not in client.get(quote_url(quote.booking)).content.decode()


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"currency": "EURO"}, "at most 3"),
        ({"currency": "ABC"}, "not a currency code"),
        ({"deposit_percent": "101"}, "at most 100"),
        ({"deposit_percent": "-5"}, "greater than or equal to 0"),
        ({"due_on": "soon"}, "valid date"),
        ({"lines-0-unit_price": "abc"}, "Enter the amount alone"),
        ({"lines-0-unit_price": "-1"}, "zero or more"),
        ({"lines-0-unit_price": "1.250"}, "can be read in two ways. Please write 1250 or 1.25"),
        ({"lines-0-unit_price": "9" * 20}, "less than or equal"),
        ({"lines-0-quantity": "0"}, "greater than or equal to 0.01"),
        ({"lines-0-text": ""}, "Enter what this price is for"),
        ({"lines-0-text": "x" * 201}, "at most 200"),
        ({"lines-TOTAL_FORMS": "x"}, "ManagementForm"),
    ],
)
def test_what_cannot_be_a_quote_is_told_in_words_and_nothing_is_kept(
    client: Client, drummer: User, changes: dict[str, str], says: str
) -> None:
    booking = make_booking(client=make_client())
    response = client.post(quote_url(booking), typed(**changes))
    assert response.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert says in response.content.decode()
    assert not Quote.objects.exists()


def test_lower_case_currencies_are_understood(client: Client, drummer: User) -> None:
    booking = make_booking(client=make_client())
    client.post(quote_url(booking), typed(currency="krw", **{"lines-0-unit_price": "333333.4"}))
    assert (booking.quotes.get().currency, booking.quotes.get().total_minor) == ("KRW", 666_666)


def test_sending_without_a_client_says_so_and_keeps_the_draft(client: Client, drummer: User) -> None:
    booking = make_booking()
    client.post(quote_url(booking), typed())
    response = send(client, booking)
    assert response.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "invite the client" in response.content.decode()
    assert booking.quotes.get().state == "draft"


def test_the_client_reads_and_accepts(client: Client) -> None:
    member = make_client()
    quote = make_sent_quote(booking=make_booking(client=member), terms="Credit as drums.")
    client.force_login(member)
    page = client.get(quote_url(quote.booking)).content.decode()
    for words in ("Line 1", "175.00", "Credit as drums.", "no clause as legally sufficient", "I accept this quote"):
        assert words in page

    response = client.post(reverse("money:decide", args=[quote.pk]), {"decision": "accept"}, follow=True)
    quote.refresh_from_db()
    assert quote.state == "accepted"
    assert "The full text as it was accepted" in response.content.decode()


def test_the_client_declines_with_words(client: Client) -> None:
    member = make_client()
    quote = make_sent_quote(booking=make_booking(client=member))
    client.force_login(member)
    client.post(reverse("money:decide", args=[quote.pk]), {"decision": "decline", "reason": "Too much."})
    assert quote.booking.messages.get().body.endswith("\n\nToo much.")


def test_a_client_sees_no_draft_and_no_replaced_total(client: Client) -> None:
    member = make_client()
    booking = make_booking(client=member)
    make_quote(booking=booking, prices=[4_711])
    client.force_login(member)
    page = client.get(quote_url(booking)).content.decode()
    assert "No quote yet" in page
    assert "47.11" not in page


def test_an_expired_quote_cannot_be_accepted_from_the_page(client: Client) -> None:
    member = make_client()
    quote = make_sent_quote(booking=make_booking(client=member), valid_until="2020-01-01")
    client.force_login(member)
    page = client.get(quote_url(quote.booking)).content.decode()
    assert "Expired" in page
    assert "I accept this quote" not in page

    page = client.post(reverse("money:decide", args=[quote.pk]), {"decision": "accept"}, follow=True).content.decode()
    assert "was valid until" in page
    quote.refresh_from_db()
    assert quote.state == "sent"


def test_a_press_that_says_nothing_is_told(client: Client) -> None:
    member = make_client()
    quote = make_sent_quote(booking=make_booking(client=member))
    client.force_login(member)
    response = client.post(reverse("money:decide", args=[quote.pk]), {"decision": "perhaps"})
    assert response.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "accept or decline" in response.content.decode()


def test_the_drummer_records_a_payment(client: Client, drummer: User) -> None:
    quote = make_sent_quote(booking=make_booking(client=make_client()))
    services.accept_quote(quote=quote, by=make_client())
    pay = {"kind": "deposit", "amount": "87.50", "received_on": "2026-11-25", "note": "bank"}
    address = reverse("money:payment", args=[quote.booking_id])
    page = client.post(address, pay, follow=True).content.decode()
    assert "The deposit is recorded" in page
    assert "bank" in page
    assert "already" in client.post(address, pay, follow=True).content.decode()
    response = client.post(address, pay | {"amount": "much"})
    assert response.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert Payment.objects.count() == 1


def test_the_bookings_page_says_what_is_to_be_done_about_the_quote(client: Client) -> None:
    member = make_client()
    booking = make_booking(client=member)
    drummer = booking.created_by
    said: dict[str, list[str]] = {"drummer": [], "client": []}

    def look() -> None:
        for name, user in (("drummer", drummer), ("client", member)):
            client.force_login(user)
            said[name].append(flat(client.get(booking.get_absolute_url()).content.decode()))

    look()
    quote = make_quote(booking=booking)
    look()
    services.send_quote(quote=quote, by=drummer)
    look()
    services.accept_quote(quote=quote, by=member)
    look()
    for name, words in {
        "drummer": ["No quote yet", "Continue the draft", "Version 1 is sent", "Record a payment"],
        "client": ["", "", "Read it, then accept or decline it", "Version 1 is accepted"],
    }.items():
        assert [word in page for word, page in zip(words, said[name], strict=True)] == [True] * 4
    assert "175.00" not in said["client"][1], "a draft is the drummer's own"


def test_the_bookings_page_asks_as_often_with_many_lines_as_with_few(client: Client) -> None:
    House.get()  # made at its first use
    counts = []
    for lines in (3, 300):
        quote = make_sent_quote(prices=[100] * lines)
        client.force_login(quote.booking.created_by)
        for address in (quote.booking.get_absolute_url(), quote_url(quote.booking)):
            with CaptureQueriesContext(connection) as queries:
                client.get(address)
            counts.append(len(queries))
    assert counts[:2] == counts[2:]


ROUTES = ("quote", "preview", "send", "decide", "payment")


def address_of(route: str, quote: Quote) -> str:
    return reverse(f"money:{route}", args=[quote.pk if route == "decide" else quote.booking_id])


@pytest.mark.parametrize("route", ROUTES)
def test_outsiders_find_nothing_and_nobody_signs_in(client: Client, route: str) -> None:
    quote = make_sent_quote()
    assert client.post(address_of(route, quote)).headers["Location"].startswith("/sign-in/")
    client.force_login(make_client())
    assert client.post(address_of(route, quote)).status_code == HTTPStatus.NOT_FOUND
    if route == "quote":
        assert client.get(address_of(route, quote)).status_code == HTTPStatus.NOT_FOUND


@pytest.mark.parametrize("route", ["quote", "preview", "send", "payment"])
def test_a_client_has_no_right_to_write_money(client: Client, route: str) -> None:
    member = make_client()
    quote = make_sent_quote(booking=make_booking(client=member))
    client.force_login(member)
    assert client.post(address_of(route, quote), typed()).status_code == HTTPStatus.FORBIDDEN


def test_a_drummer_has_no_right_to_decide(client: Client, drummer: User) -> None:
    quote = make_sent_quote()
    assert client.post(address_of("decide", quote), {"decision": "accept"}).status_code == HTTPStatus.FORBIDDEN


def test_a_draft_cannot_be_decided_by_guessing_its_number(client: Client) -> None:
    member = make_client()
    quote = make_quote(booking=make_booking(client=member))
    client.force_login(member)
    assert client.post(address_of("decide", quote), {"decision": "accept"}).status_code == HTTPStatus.NOT_FOUND


@pytest.mark.parametrize("route", ["preview", "decide", "payment"])
def test_moves_are_made_by_post_only(client: Client, drummer: User, route: str) -> None:
    assert client.get(address_of(route, make_sent_quote())).status_code == HTTPStatus.METHOD_NOT_ALLOWED
    assert client.put(quote_url(make_sent_quote().booking)).status_code == HTTPStatus.METHOD_NOT_ALLOWED


def test_the_first_quote_starts_from_the_booking_s_due_date(client: Client, drummer: User) -> None:
    booking = make_booking(client=make_client(), due_on=date(2026, 12, 24))
    assert 'value="2026-12-24"' in client.get(quote_url(booking)).content.decode()


def test_a_payment_is_taken_back_on_the_page_with_a_reason(client: Client) -> None:
    booking = make_booking(client=make_client())
    services.accept_quote(quote=make_sent_quote(booking=booking), by=make_client())
    payment = make_payment(booking=booking)
    Song.objects.filter(pk=add_song(booking=booking, title="Cold Bus Under Spoons", by=booking.created_by).pk).update(
        stage="ready"
    )
    client.force_login(booking.created_by)
    page, address = reverse("money:quote", args=[booking.pk]), reverse("money:take-back", args=[payment.pk])
    shown = client.get(page).content.decode()
    assert address in shown
    assert "Already tracking or later: Cold Bus Under Spoons." in shown

    assert "Enter why" in client.post(address, {"why": " "}, follow=True).content.decode()
    shown = client.post(address, {"why": "It was for <another> booking."}, follow=True).content.decode()

    assert "It was for &lt;another&gt; booking." in shown
    assert "not yet" in shown
    assert address not in shown
    client.force_login(booking.members.get().user)
    assert "Take payment back" not in client.get(page).content.decode()


def test_a_quote_on_paper_names_the_house_and_both_parties(client: Client) -> None:
    House.objects.update_or_create(pk=1, defaults={"name": "Room Behind The Mill"})
    quote = make_sent_quote(booking=make_booking(client=make_client(name="Ida Wren"), drummer=make_drummer(name="Bo")))
    client.force_login(quote.booking.created_by)
    paper = client.get(reverse("money:quote", args=[quote.booking_id])).content.decode().partition("on-paper")[2]
    for words in ("Room Behind The Mill", "From Bo", "For Ida Wren"):
        assert words in paper.partition("</div>")[0]

"""From a draft to an agreement to the gates that money opens."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from portal.bookings.models import Booking, Song
from portal.mailroom.models import Mail
from portal.money import payments, services
from portal.money.errors import PaymentError, QuoteError
from portal.money.models import Payment, Quote
from portal.people.models import House
from tests.factories import (
    make_booking,
    make_client,
    make_delivery,
    make_drummer,
    make_invited_client,
    make_quote,
    make_sent_quote,
)

pytestmark = pytest.mark.django_db

CONDITIONS = services.Conditions(
    currency="EUR",
    deposit_percent=50,
    balance_before_files=True,
    rounds_included=2,
    further_rounds="",
    due_on=date(2026, 12, 24),
    valid_until=None,
    terms="Credit as “drums”.",
)
LINES = [services.Line("Drums, one song", Decimal(2), Decimal("175.00"))]


def timeline(booking: Booking) -> list[str]:
    return list(booking.timeline.values_list("text", flat=True))


def test_a_draft_is_written_over_until_it_is_sent() -> None:
    booking = make_booking(client=make_client())
    first = services.save_draft(booking=booking, conditions=CONDITIONS, lines=LINES * 3, by=booking.created_by)
    again = services.save_draft(booking=booking, conditions=CONDITIONS, lines=LINES, by=booking.created_by)

    assert (again.pk, again.version) == (first.pk, 1)
    assert again.total_minor == 35_000
    assert timeline(booking).count("started quote 1") == 1


def test_what_was_sent_is_never_changed_a_draft_after_it_is_a_new_version() -> None:
    sent = make_sent_quote()
    draft = services.save_draft(booking=sent.booking, conditions=CONDITIONS, lines=LINES, by=make_drummer())

    sent.refresh_from_db()
    assert (draft.version, draft.state) == (2, Quote.State.DRAFT)
    assert (sent.state, sent.total_minor) == (Quote.State.SENT, 17_500)


def test_sending_makes_the_offer_once_and_writes_to_every_client() -> None:
    booking = make_booking(client=make_client(email="mara@example.com"))
    quote = make_quote(booking=booking)
    services.send_quote(quote=quote, by=booking.created_by)
    services.send_quote(quote=quote, by=booking.created_by)

    booking.refresh_from_db()
    quote.refresh_from_db()
    assert (booking.stage, booking.turn, quote.state) == ("quoted", "client", "sent")
    letter = Mail.objects.get(to="mara@example.com")
    assert f"/bookings/{booking.pk}/quote/" in letter.body
    assert timeline(booking).count("sent quote 1") == 1


def test_a_client_without_a_password_gets_the_way_in_with_the_quote() -> None:
    booking = make_booking(client=make_invited_client(email="new@example.com"))
    services.send_quote(quote=make_quote(booking=booking), by=booking.created_by)

    assert "/invitations/" in Mail.objects.get(to="new@example.com").body


def test_an_offer_needs_somebody_to_read_it_and_a_last_day_to_come() -> None:
    with pytest.raises(QuoteError, match="There is no client to read it"):
        services.send_quote(quote=make_quote(booking=make_booking()), by=make_drummer())
    past = make_quote(valid_until=timezone.now().date() - timedelta(days=2))
    with pytest.raises(QuoteError, match="later one"):
        services.send_quote(quote=past, by=make_drummer())
    cancelled = make_quote(booking=make_booking(client=make_client(), stage="cancelled"))
    with pytest.raises(QuoteError, match="cancelled"):
        services.send_quote(quote=cancelled, by=make_drummer())


def test_a_newer_version_replaces_the_open_one() -> None:
    old = make_sent_quote()
    new = make_quote(booking=old.booking)
    services.send_quote(quote=new, by=make_drummer())

    old.refresh_from_db()
    assert old.state == Quote.State.REPLACED
    with pytest.raises(QuoteError):
        services.accept_quote(quote=old, by=make_client())


def test_acceptance_sets_what_the_work_waits_for_and_keeps_every_word() -> None:
    client = make_client(name="Mara Quillfen", email="mara@example.com")
    booking = make_booking(client=client, songs=1, title="Cold Bus Under Spoons")
    quote = services.save_draft(booking=booking, conditions=CONDITIONS, lines=LINES, by=booking.created_by)
    services.send_quote(quote=quote, by=booking.created_by)
    services.accept_quote(quote=quote, by=client)
    services.accept_quote(quote=quote, by=client)

    booking.refresh_from_db()
    quote.refresh_from_db()
    assert (booking.stage, booking.due_on) == ("agreed", date(2026, 12, 24))
    assert (booking.deposit_required, booking.balance_before_files) == (True, True)
    assert booking.deposit_is_missing
    assert booking.files_wait_for_balance
    for words in (
        "Cold Bus Under Spoons",
        "Song 1",
        "Drums, one song: 2 ×",
        "350.00",
        "Credit as “drums”.",
        "24 December 2026",
    ):
        assert words in quote.accepted_text
    assert "Accepted by Mara Quillfen <mara@example.com>" in quote.accepted_text
    assert timeline(booking).count("accepted quote 1") == 1
    assert Mail.objects.filter(to=booking.created_by.email).count() == 1


@pytest.mark.parametrize(
    ("prices", "percent", "deposit_required", "waits"),
    [([], 50, False, False), ([0], 50, False, False), ([100], 0, False, True), ([100], 100, True, False)],
)
def test_nothing_waits_for_money_that_nobody_owes(
    prices: list[int], percent: int, deposit_required: bool, waits: bool
) -> None:
    quote = make_sent_quote(prices=prices, deposit_percent=percent)
    services.accept_quote(quote=quote, by=make_client())

    quote.booking.refresh_from_db()
    assert (quote.booking.deposit_required, quote.booking.balance_before_files) == (deposit_required, waits)
    quote.refresh_from_db()
    assert ("No fee" in quote.accepted_text) == (sum(prices) == 0)


@pytest.mark.parametrize(
    ("now", "is_open"),
    # 27 November ends in Los Angeles at 08:00 UTC on the 28th (IANA tz: UTC-8 in winter).
    [(datetime(2026, 11, 28, 7, 59, tzinfo=UTC), True), (datetime(2026, 11, 28, 8, 0, tzinfo=UTC), False)],
)
def test_an_offer_ends_with_its_last_day_at_the_house(
    now: datetime, is_open: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    House.objects.update_or_create(pk=1, defaults={"time_zone": "America/Los_Angeles"})
    quote = make_sent_quote(valid_until=date(2026, 11, 27))
    monkeypatch.setattr(timezone, "now", lambda: now)

    if is_open:
        services.accept_quote(quote=quote, by=make_client())
    else:
        with pytest.raises(QuoteError, match="valid until"):
            services.accept_quote(quote=quote, by=make_client())
        services.decline_quote(quote=quote, by=make_client())


def test_declining_tells_the_drummer_why_and_a_new_version_may_follow() -> None:
    client = make_client()
    quote = make_sent_quote(booking=make_booking(client=client))
    services.decline_quote(quote=quote, by=client, reason="Half of it, please.")
    services.decline_quote(quote=quote, by=client, reason="Half of it, please.")

    booking = quote.booking
    booking.refresh_from_db()
    assert booking.stage == "declined"
    assert booking.messages.get().body == f"{client.name} has declined quote 1:\n\nHalf of it, please."
    services.send_quote(quote=make_quote(booking=booking), by=booking.created_by)
    booking.refresh_from_db()
    assert booking.stage == "quoted"


def test_declining_more_leaves_what_was_agreed() -> None:
    client = make_client()
    agreed = make_sent_quote(booking=make_booking(client=client))
    services.accept_quote(quote=agreed, by=client)
    Booking.objects.filter(pk=agreed.booking_id).update(stage="working")
    more = make_quote(booking=agreed.booking)
    services.send_quote(quote=more, by=make_drummer())
    services.decline_quote(quote=more, by=client)

    agreed.refresh_from_db()
    agreed.booking.refresh_from_db()
    assert (agreed.state, agreed.booking.stage) == (Quote.State.ACCEPTED, "working")


def test_accepting_more_takes_the_place_of_what_was_agreed() -> None:
    client = make_client()
    agreed = make_sent_quote(booking=make_booking(client=client))
    services.accept_quote(quote=agreed, by=client)
    more = make_quote(booking=agreed.booking, prices=[99_900])
    services.send_quote(quote=more, by=make_drummer())
    services.accept_quote(quote=more, by=client)

    agreed.refresh_from_db()
    agreed.booking.refresh_from_db()
    assert (agreed.state, agreed.booking.stage) == (Quote.State.REPLACED, "agreed")
    assert agreed.accepted_text, "what was agreed at the time is still there to read"


def test_payments_open_the_gate_that_waited_for_them() -> None:
    client = make_client(email="mara@example.com")
    booking = make_booking(client=client)
    services.accept_quote(quote=make_sent_quote(booking=booking), by=client)
    by = booking.created_by
    for kind in (Payment.Kind.DEPOSIT, Payment.Kind.BALANCE):
        payments.record_payment(
            booking=booking, kind=kind, amount=Decimal("87.50"), received_on=date(2026, 11, 25), by=by
        )
        booking.refresh_from_db()
        assert not booking.deposit_is_missing
        assert booking.files_wait_for_balance == (kind == Payment.Kind.DEPOSIT)

    assert [payment.amount_minor for payment in booking.payments.all()] == [8_750, 8_750]
    assert "recorded the deposit: 87.50\u00a0EUR, received 25 November 2026" in timeline(booking)
    letters = Mail.objects.filter(to="mara@example.com", subject__contains="has arrived").order_by("pk")
    assert ["download" in letter.body for letter in letters] == [False, True]


def test_a_payment_is_recorded_once_and_only_for_what_was_agreed() -> None:
    booking = make_booking(client=make_client())
    kind, received_on = Payment.Kind.DEPOSIT, date(2026, 11, 25)
    pay: dict[str, Any] = {"booking": booking, "kind": kind, "amount": Decimal(1), "received_on": received_on}
    with pytest.raises(PaymentError, match="No quote is accepted"):
        payments.record_payment(**pay, by=booking.created_by)
    services.accept_quote(quote=make_sent_quote(booking=booking), by=make_client())
    payments.record_payment(**pay, by=booking.created_by)
    with pytest.raises(PaymentError, match="already"):
        payments.record_payment(**pay, by=booking.created_by)


def paid_booking() -> Booking:
    client = make_client(email="mara@example.com")
    booking = make_booking(client=client, songs=2)
    services.accept_quote(quote=make_sent_quote(booking=booking), by=client)
    for kind in Payment.Kind:
        payments.record_payment(
            booking=booking, kind=kind, amount=Decimal("87.50"), received_on=date(2026, 11, 25), by=booking.created_by
        )
    booking.refresh_from_db()
    return booking


def take_back(booking: Booking, kind: Payment.Kind) -> Payment:
    payment = booking.payments.standing().get(kind=kind)
    payments.take_back_payment(payment=payment, by=booking.created_by, why="It was for another booking.")
    booking.refresh_from_db()
    payment.refresh_from_db()
    return payment


def test_a_payment_taken_back_shuts_its_gate_and_stays_to_be_read() -> None:
    booking = paid_booking()
    payment = take_back(booking, Payment.Kind.BALANCE)
    payments.take_back_payment(payment=payment, by=booking.created_by, why="Pressed twice.")

    booking.refresh_from_db()
    assert (booking.deposit_is_missing, booking.files_wait_for_balance) == (False, True)
    assert (payment.taken_back_by, payment.taken_back_why) == (booking.created_by, "It was for another booking.")
    said = (
        "took back the balance that was recorded: 87.50\u00a0EUR, received 25 November 2026. "
        "Why: It was for another booking."
    )
    assert timeline(booking).count(said) == 1
    letter = Mail.objects.get(to="mara@example.com", subject__contains="is open again")
    assert "It was for another booking." in letter.body
    assert take_back(booking, Payment.Kind.DEPOSIT).kind == Payment.Kind.DEPOSIT
    assert booking.deposit_is_missing


def test_what_was_taken_back_may_be_recorded_rightly() -> None:
    booking = paid_booking()
    take_back(booking, Payment.Kind.BALANCE)
    payments.record_payment(
        booking=booking,
        kind=Payment.Kind.BALANCE,
        amount=Decimal("80.00"),
        received_on=date(2026, 11, 26),
        by=booking.created_by,
    )
    booking.refresh_from_db()
    assert not booking.files_wait_for_balance
    assert [payment.amount_minor for payment in booking.payments.standing()] == [8_750, 8_000]
    assert booking.payments.count() == 3


def test_what_taking_back_comes_too_late_for_is_said() -> None:
    booking = paid_booking()
    first, second = booking.songs.order_by("position")
    Song.objects.filter(pk=first.pk).update(stage="tracking")
    make_delivery(song=second, state="released")
    make_delivery(song=second, state="released", fetched_at=timezone.now())

    take_back(booking, Payment.Kind.DEPOSIT)
    take_back(booking, Payment.Kind.BALANCE)

    said = " ".join(timeline(booking))
    assert f"Already tracking or later: {first.title}." in said
    assert f"Already downloaded: {second.title}, delivery 2." in said


def test_a_cancelled_bookings_quote_cannot_be_accepted() -> None:
    """Not by who opened the page before: the stored booking decides, whatever the quote in hand says."""
    client = make_client()
    quote = make_sent_quote(booking=make_booking(client=client))
    in_hand = Quote.objects.select_related("booking").get(pk=quote.pk)
    Booking.objects.filter(pk=quote.booking_id).update(stage="cancelled")
    with pytest.raises(QuoteError):
        services.accept_quote(quote=in_hand, by=client)
    quote.refresh_from_db()
    assert quote.state == Quote.State.SENT
    assert Booking.objects.get(pk=quote.booking_id).stage == "cancelled"

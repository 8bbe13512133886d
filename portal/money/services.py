"""From a draft to an agreement to the money that came in. The facts that gate the work are kept on the booking."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from portal.bookings import services as bookings
from portal.bookings.models import Booking
from portal.bookings.stages import BookingStage, SongStage
from portal.delivery.models import Delivery
from portal.mailroom import services as mailroom
from portal.money.agreement import agreement_text, conditions
from portal.money.currencies import to_minor
from portal.money.errors import PaymentError, QuoteError
from portal.money.models import Payment, Quote, QuoteLine
from portal.people.models import House, User

RELEASED_SENTENCE = "You can now download all deliveries."
STAGES_BEHIND_DEPOSIT = (
    SongStage.READY,
    SongStage.TRACKING,
    SongStage.IN_REVIEW,
    SongStage.DELIVERED,
    SongStage.ACCEPTED,
)
STAGES_OF_OFFER = (BookingStage.ENQUIRY, BookingStage.QUOTED, BookingStage.DECLINED)


@dataclass(frozen=True)
class Conditions:
    """Everything of a quote besides its lines."""

    currency: str
    deposit_percent: int
    balance_before_files: bool
    revisions_included: int
    due_on: date | None
    valid_until: date | None
    terms: str


@dataclass(frozen=True)
class Line:
    """A line as it was typed; the price is rounded to the currency's smallest unit when it is stored."""

    text: str
    quantity: Decimal
    unit_price: Decimal


def house_today() -> date:
    """The day it is at the house: validity ends by its calendar, not by the reader's."""
    return timezone.now().astimezone(ZoneInfo(House.get().time_zone)).date()


def page_of(booking: Booking) -> str:
    return reverse("money:quote", args=[booking.pk])


@transaction.atomic
def save_draft(*, booking: Booking, conditions: Conditions, lines: list[Line], by: User) -> Quote:
    """Write the draft again. What was sent is never changed: after it a draft is a new version."""
    booking = Booking.objects.select_for_update().get(pk=booking.pk)
    quote = booking.quotes.filter(state=Quote.State.DRAFT).first()
    if quote is None:
        newest = booking.quotes.first()
        quote = Quote(booking=booking, version=newest.version + 1 if newest else 1)
        bookings.record(booking, f"started quote {quote.version}", actor=by)
    for name, value in vars(conditions).items():
        setattr(quote, name, value)
    quote.save()
    quote.lines.all().delete()
    QuoteLine.objects.bulk_create(
        QuoteLine(
            quote=quote,
            position=position,
            text=line.text,
            quantity=line.quantity,
            unit_price_minor=to_minor(line.unit_price, quote.currency),
        )
        for position, line in enumerate(lines, start=1)
    )
    return quote


def fingerprint_of(quote: Quote) -> str:
    """Names what a quote says: nobody sends what their page did not show."""
    lines = [(line.text, str(line.quantity), line.unit_price_minor) for line in quote.lines.all()]
    return hashlib.sha256(repr((lines, quote.currency, *conditions(quote), quote.terms)).encode()).hexdigest()[:16]


@transaction.atomic
def send_quote(*, quote: Quote, by: User, seen: str | None = None) -> None:
    """Make the offer. The e-mail brings a way in for a client who has no password yet. Sent twice it goes once.

    `seen` is the fingerprint of what the sender's page showed.
    """
    quote = Quote.objects.select_for_update().get(pk=quote.pk)
    if quote.state != Quote.State.DRAFT:
        return
    if quote.is_expired(house_today()):
        raise QuoteError("The expiry date of this quote has passed. Set a later one, then send it.")
    if seen is not None and seen != fingerprint_of(quote):
        raise QuoteError("The draft was changed since this page was loaded. Here it is as it is now.")
    booking = quote.booking
    if booking.is_over and booking.stage not in STAGES_OF_OFFER:
        raise QuoteError(f"This booking is {booking.get_stage_display()}: open a new one for new work.")
    if not booking.members.exists():
        raise QuoteError("There is no client to read it yet: invite the client on the booking’s page first.")
    booking.quotes.filter(state=Quote.State.SENT).update(state=Quote.State.REPLACED)
    quote.send()
    if booking.stage in STAGES_OF_OFFER:
        bookings.move_booking(booking, BookingStage.QUOTED, text=f"sent quote {quote.version}", actor=by)
    else:
        bookings.record(booking, f"sent quote {quote.version}", actor=by)
    mailroom.write_to_members(
        booking=booking,
        by=by,
        key=f"quote:{quote.pk}",
        subject=f"A quote for “{booking.title}”",
        body=f"{by.name} has sent you quote {quote.version}. Please read it, then accept or decline it.",
        path=page_of(booking),
    )


@transaction.atomic
def accept_quote(*, quote: Quote, by: User) -> None:
    """Keep the words that were agreed, and set what the work has to wait for. Pressing twice agrees once."""
    quote = Quote.objects.select_for_update().get(pk=quote.pk)
    if quote.state == Quote.State.ACCEPTED:
        return
    _check_open(quote)
    booking = quote.booking
    booking.quotes.filter(state=Quote.State.ACCEPTED).update(state=Quote.State.REPLACED)
    quote.decide(Quote.State.ACCEPTED, by=by, text=agreement_text(quote, by=by, at=timezone.now()))
    booking.due_on, booking.due_zone = quote.due_on, House.get().time_zone
    booking.deposit_required = quote.deposit_minor > 0
    booking.balance_before_files = quote.balance_before_files and quote.balance_minor > 0
    booking.save(update_fields=["due_on", "due_zone", "deposit_required", "balance_before_files"])
    text = f"accepted quote {quote.version}"
    if booking.stage in STAGES_OF_OFFER:
        bookings.move_booking(booking, BookingStage.AGREED, text=text, actor=by)
    else:
        bookings.record(booking, text, actor=by)
    mailroom.write_to_drummers(
        key=f"quote:{quote.pk}:accepted",
        subject=f"{by.name} has accepted the quote for “{booking.title}”",
        body=f"{by.name} has accepted quote {quote.version}.",
        path=page_of(booking),
    )


@transaction.atomic
def decline_quote(*, quote: Quote, by: User, reason: str = "") -> None:
    """Say no to this version. What was accepted before it stands."""
    quote = Quote.objects.select_for_update().get(pk=quote.pk)
    if quote.state == Quote.State.DECLINED:
        return
    _check_open(quote, even_if_expired=True)
    quote.decide(Quote.State.DECLINED, by=by)
    booking, text = quote.booking, f"declined quote {quote.version}"
    if booking.stage in STAGES_OF_OFFER:
        bookings.move_booking(booking, BookingStage.DECLINED, text=text, actor=by)
    else:
        bookings.record(booking, text, actor=by)
    mailroom.post(
        booking=booking,
        key=f"quote:{quote.pk}:declined",
        subject=f"Quote {quote.version} is declined",
        body=reason or f"{by.name} declines quote {quote.version} and gave no reason.",
        sender=by,
    )


@transaction.atomic
def record_payment(
    *, booking: Booking, kind: Payment.Kind, amount: Decimal, received_on: date, by: User, note: str = ""
) -> Payment:
    """Write down money that came in; it opens the gate that waited for it."""
    booking = Booking.objects.select_for_update().get(pk=booking.pk)
    agreed = booking.quotes.filter(state=Quote.State.ACCEPTED).first()
    if agreed is None:
        raise PaymentError("No quote is accepted yet, so there is nothing to pay.")
    if booking.payments.standing().filter(kind=kind).exists():
        raise PaymentError(f"The {kind.label} is already recorded.")
    payment = Payment.objects.create(
        booking=booking,
        kind=kind,
        amount_minor=to_minor(amount, agreed.currency),
        currency=agreed.currency,
        received_on=received_on,
        recorded_by=by,
        note=note,
    )
    _set_gate(payment, booking=booking, at=payment.recorded_at)
    _say_received(payment, booking=booking, by=by)
    return payment


@transaction.atomic
def take_back_payment(*, payment: Payment, by: User, why: str) -> None:
    """What was recorded by mistake counts no more, and its gate is shut again. Pressed twice it is taken back once."""
    booking = Booking.objects.select_for_update().get(pk=payment.booking_id)
    payment = Payment.objects.get(pk=payment.pk)
    if payment.taken_back_at is not None:
        return
    payment.take_back(by=by, why=why)
    _set_gate(payment, booking=booking, at=None)
    word, amount = payment.get_kind_display(), payment.amount_in_words
    too_late = too_late_for(payment)
    said = f"took back the {word} that was recorded: {amount}, received {payment.received_on}. Why: {why}"
    bookings.record(booking, " ".join([said, *too_late]), actor=by)
    mailroom.write_to_members(
        booking=booking,
        by=by,
        key=f"payment:{payment.pk}:taken-back",
        subject=f"The {word} for “{booking.title}” is open again",
        body=f"{by.name} had recorded the {word} of {amount} by mistake and has taken that back: {why}",
        path=page_of(booking),
    )


def too_late_for(payment: Payment) -> list[str]:
    """What has happened since that taking a payment back does not undo, a sentence each."""
    booking = payment.booking
    if payment.kind == Payment.Kind.DEPOSIT:
        songs = [song.title for song in booking.songs.order_by("position") if song.stage in STAGES_BEHIND_DEPOSIT]
        return [f"Already tracking or later: {', '.join(songs)}."] if booking.deposit_required and songs else []
    fetched = (
        Delivery.objects.filter(song__booking=booking).exclude(fetched_at=None).order_by("song__position", "number")
    )
    names = [f"{delivery.song.title}, delivery {delivery.number}" for delivery in fetched.select_related("song")]
    return [f"Already downloaded: {'; '.join(names)}."] if names else []


def _set_gate(payment: Payment, *, booking: Booking, at: datetime | None) -> None:
    gate = "deposit_received_at" if payment.kind == Payment.Kind.DEPOSIT else "balance_received_at"
    setattr(booking, gate, at)
    booking.save(update_fields=[gate])


def _say_received(payment: Payment, *, booking: Booking, by: User) -> None:
    word, amount = payment.get_kind_display(), payment.amount_in_words
    bookings.record(booking, f"recorded the {word}: {amount}, received {payment.received_on}", actor=by)
    opens = payment.kind == Payment.Kind.BALANCE and booking.balance_before_files
    body = f"The {word} of {amount} is recorded as received on {payment.received_on}. Thank you."
    mailroom.write_to_members(
        booking=booking,
        by=by,
        key=f"payment:{payment.pk}",
        subject=f"Your {word} for “{booking.title}” has arrived",
        body=f"{body} {RELEASED_SENTENCE}" if opens else body,
        path=page_of(booking),
    )


def _check_open(quote: Quote, *, even_if_expired: bool = False) -> None:
    if quote.state != Quote.State.SENT:
        raise QuoteError("This quote is no longer open: there is a newer one, or it was already decided.")
    if not even_if_expired and quote.is_expired(house_today()):
        raise QuoteError(f"This quote was valid until {quote.valid_until}. Ask the drummer for a new one.")

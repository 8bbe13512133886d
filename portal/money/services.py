"""From a draft of a quote to an agreement. The facts that gate the work are kept on the booking."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Unpack
from zoneinfo import ZoneInfo

from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from portal.bookings import services as bookings
from portal.bookings.models import Booking
from portal.bookings.stages import OVER_STAGES, BookingStage, QuoteState
from portal.bookings.turn_page import asks
from portal.bookings.turns import BookingNotes
from portal.mailroom import services as mailroom
from portal.money.agreement import agreement_text, conditions, day_in_words
from portal.money.currencies import in_words, to_minor
from portal.money.errors import QuoteError
from portal.money.models import Quote, QuoteLine
from portal.people.models import House, User
from portal.queueing import for_each_row

STAGES_OF_OFFER = (BookingStage.ENQUIRY, BookingStage.QUOTED, BookingStage.DECLINED)


@dataclass(frozen=True)
class Conditions:
    """Everything of a quote besides its lines."""

    currency: str
    deposit_percent: int
    balance_before_files: bool
    rounds_included: int
    further_rounds: str
    due_on: date | None
    valid_until: date | None
    terms: str


@dataclass(frozen=True)
class Line:
    """A line as it was typed; the price is rounded to the currency's smallest unit when it is stored."""

    text: str
    quantity: Decimal
    unit_price: Decimal
    song_id: int | None = None
    price_asked: bool = False


def house_today() -> date:
    """The day it is at the house: validity ends by its calendar, not by the reader's."""
    return timezone.now().astimezone(ZoneInfo(House.get().time_zone)).date()


def page_of(booking: Booking) -> str:
    return reverse("money:quote", args=[booking.pk])


@transaction.atomic
def save_draft(*, booking: Booking, conditions: Conditions, lines: list[Line], by: User) -> Quote:
    """Write the draft again. What was sent is never changed: after it a draft is a new version."""
    booking = bookings.lock_booking(booking)
    check_takes_offers(booking)
    quote = booking.quotes.filter(state=Quote.State.DRAFT).first()
    if quote is None:
        newest = booking.quotes.first()
        quote = Quote(booking=booking, version=newest.version + 1 if newest else 1)
        bookings.record(booking, f"started quote {quote.version}", actor=by)
    for name, value in vars(conditions).items():
        setattr(quote, name, value)
    quote.save()
    quote.lines.all().delete()
    songs = set(booking.songs.values_list("pk", flat=True))
    QuoteLine.objects.bulk_create(
        QuoteLine(
            quote=quote,
            position=position,
            text=line.text,
            quantity=line.quantity,
            unit_price_minor=to_minor(line.unit_price, quote.currency),
            song_id=line.song_id if line.song_id in songs else None,
            price_asked=line.price_asked,
        )
        for position, line in enumerate(lines, start=1)
    )
    note_quotes(booking)
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
    quote = _locked(quote)
    if quote.state != Quote.State.DRAFT:
        return
    if quote.is_expired(house_today()):
        raise QuoteError("The expiry date of this quote has passed. Set a later one, then send it.")
    if seen is not None and seen != fingerprint_of(quote):
        raise QuoteError("The draft was changed since this page was loaded. Here it is as it is now.")
    if asked := quote.lines.filter(price_asked=True):
        names = ", ".join(f"“{line.text}”" for line in asked)
        raise QuoteError(f"The songs have changed. Go back to the draft and check the price of {names}, then save it.")
    booking = quote.booking
    check_takes_offers(booking)
    if not booking.members.exists():
        raise QuoteError("There is no client to read it yet: invite the client on the booking’s page first.")
    booking.quotes.filter(state=Quote.State.SENT).update(state=Quote.State.REPLACED)
    quote.send()
    note_quotes(booking)
    if booking.stage in STAGES_OF_OFFER:
        bookings.move_booking(booking, BookingStage.QUOTED, text=f"sent quote {quote.version}", actor=by)
    else:
        bookings.record(booking, f"sent quote {quote.version}", actor=by)
    mailroom.write_to_members(
        booking=booking,
        by=by,
        key=f"quote:{quote.pk}",
        subject=f"A quote for “{booking.title}”",
        body=_offer_in_words(quote, by=by),
        path=page_of(booking),
    )


def _offer_in_words(quote: Quote, *, by: User) -> str:
    says = f"{by.name} has sent you quote {quote.version} for “{quote.booking.title}”."
    facts = [f"Total: {in_words(quote.total_minor, quote.currency)}."]
    if quote.due_on:
        facts.append(f"Due: {day_in_words(quote.due_on)}.")
    if quote.valid_until:
        facts.append(f"Valid until the end of {day_in_words(quote.valid_until)}.")
    return "\n\n".join((says, " ".join(facts), asks(quote.booking)))


@transaction.atomic
def accept_quote(*, quote: Quote, by: User) -> None:
    """Keep the words that were agreed, and set what the work has to wait for. Pressing twice agrees once."""
    quote = _locked(quote)
    if quote.state == Quote.State.ACCEPTED:
        return
    _check_open(quote)
    booking = quote.booking
    booking.quotes.filter(state=Quote.State.ACCEPTED).update(state=Quote.State.REPLACED)
    quote.decide(Quote.State.ACCEPTED, by=by, text=agreement_text(quote, by=by, at=timezone.now()))
    booking.due_on, booking.due_zone = quote.due_on, House.get().time_zone
    booking.save(update_fields=["due_on", "due_zone"])
    note_quotes(
        booking,
        deposit_required=quote.deposit_minor > 0,
        balance_before_files=quote.balance_before_files and quote.balance_minor > 0,
    )
    text = f"accepted quote {quote.version}"
    if booking.stage in STAGES_OF_OFFER:
        bookings.move_booking(booking, BookingStage.AGREED, text=text, actor=by)
        bookings.follow_songs(booking)  # files may have come before the agreement
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
    quote = _locked(quote)
    if quote.state == Quote.State.DECLINED:
        return
    _check_open(quote, even_if_expired=True)
    quote.decide(Quote.State.DECLINED, by=by)
    booking, text = quote.booking, f"declined quote {quote.version}"
    note_quotes(booking)
    if booking.stage in STAGES_OF_OFFER:
        bookings.move_booking(booking, BookingStage.DECLINED, text=text, actor=by)
    else:
        bookings.record(booking, text, actor=by)
        bookings.follow_songs(booking)  # with all songs accepted, the new quote alone kept it open
    said = f":\n\n{reason}" if reason else " and gave no reason."
    mailroom.post(
        booking=booking,
        key=f"quote:{quote.pk}:declined",
        subject=f"Quote {quote.version} is declined",
        body=f"{by.name} has declined quote {quote.version}{said}",
        sender=by,
    )


def takes_offers(booking: Booking) -> bool:
    return not booking.is_over or booking.stage in STAGES_OF_OFFER


def check_takes_offers(booking: Booking) -> None:
    if not takes_offers(booking):
        raise QuoteError(f"This booking is {booking.get_stage_display()}: open a new one for new work.")


def note_quotes(booking: Booking, **facts: Unpack[BookingNotes]) -> None:
    """The newest quote that matters, as a fact of the booking. `booking` knows it afterwards."""
    states = set(booking.quotes.values_list("state", flat=True))
    is_out = any(not quote.is_expired(house_today()) for quote in booking.quotes.filter(state=Quote.State.SENT))
    agreed_once = booking.agreed_once or Quote.State.ACCEPTED in states
    if is_out:
        state = QuoteState.SENT
    elif agreed_once:
        state = QuoteState.ACCEPTED
    else:
        state = QuoteState.DRAFT if Quote.State.DRAFT in states else QuoteState.NONE
    bookings.note_booking(booking, **(facts | {"quote_state": state, "agreed_once": agreed_once}))
    booking.refresh_from_db()


def note_expired() -> None:
    """Quotes that are no longer valid wait for no answer. Safe to run twice."""
    late = Quote.objects.filter(state=Quote.State.SENT, valid_until__lt=house_today())
    still_out = late.filter(booking__quote_state=QuoteState.SENT).exclude(booking__stage__in=OVER_STAGES)
    for_each_row(still_out, _note_late, what="quote")


@transaction.atomic
def _note_late(quote: Quote) -> None:
    note_quotes(bookings.lock_booking(quote.booking))


def withdraw_cancelled(booking_id: int, by_id: int, reason: str) -> None:  # noqa: ARG001
    """What `bookings.hooks.on_booking_cancelled` calls: what is out cannot be accepted any more."""
    booking = Booking.objects.get(pk=booking_id)
    booking.quotes.filter(state=Quote.State.SENT).update(state=Quote.State.WITHDRAWN)
    note_quotes(booking)


def _locked(quote: Quote) -> Quote:
    """The booking and its songs before the quote, as everywhere."""
    booking = bookings.lock_booking(quote.booking)
    quote = Quote.objects.select_for_update().get(pk=quote.pk)
    quote.booking = booking
    return quote


def _check_open(quote: Quote, *, even_if_expired: bool = False) -> None:
    if quote.booking.stage == BookingStage.CANCELLED:
        who = quote.booking.created_by.name
        raise QuoteError(f"{who} has cancelled this booking, so its quote can no longer be answered.")
    if quote.state != Quote.State.SENT or quote.booking.is_over:
        raise QuoteError("This quote is no longer open: there is a newer one, or it was already decided.")
    if not even_if_expired and quote.is_expired(house_today()):
        raise QuoteError(f"This quote was valid until {quote.valid_until}. Ask the drummer for a new one.")

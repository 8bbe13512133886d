"""The money that came in, as the drummer records it; it opens the gates that waited for it."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

from django.db import transaction

from portal.bookings import services as bookings
from portal.bookings.models import Booking, Song
from portal.bookings.stages import SongStage
from portal.bookings.turns import PAY_DEPOSIT
from portal.delivery.models import Delivery
from portal.mailroom import services as mailroom
from portal.mailroom.models import Mail
from portal.money.agreement import day_in_words
from portal.money.currencies import in_words, to_minor
from portal.money.errors import PaymentError
from portal.money.models import Payment, Quote
from portal.money.services import page_of
from portal.people.models import House, User

RELEASED_SENTENCE = "You can now download all deliveries."
STAGES_BEHIND_DEPOSIT = (
    SongStage.READY,
    SongStage.TRACKING,
    SongStage.IN_REVIEW,
    SongStage.DELIVERED,
    SongStage.ACCEPTED,
)


@transaction.atomic
def record_payment(
    *, booking: Booking, kind: Payment.Kind, amount: Decimal, received_on: date, by: User, note: str = ""
) -> Payment:
    """Write down money that came in; it opens the gate that waited for it."""
    booking = bookings.lock_booking(booking)
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
    booking = bookings.lock_booking(payment.booking)
    payment = Payment.objects.get(pk=payment.pk)
    if payment.taken_back_at is not None:
        return
    payment.take_back(by=by, why=why)
    _set_gate(payment, booking=booking, at=None)
    word, amount = payment.get_kind_display(), payment.amount_in_words
    too_late = too_late_for(payment)
    said = f"took back the {word} that was recorded: {amount}, received {day_in_words(payment.received_on)}. Why: {why}"
    bookings.record(booking, " ".join([said, *too_late]), actor=by)
    mailroom.write_to_members(
        booking=booking,
        by=by,
        key=f"payment:{payment.pk}:taken-back",
        subject=f"The {word} for “{booking.title}” is open again",
        body=with_how_to_pay(
            f"{by.name} had recorded the {word} of {amount} by mistake and has taken that back: {why}"
        ),
        path=f"{page_of(booking)}#payments",
    )


def ask_for_deposits() -> None:
    """Write to the clients of bookings whose songs wait for nothing but the deposit, once for each agreement. Safe to
    run twice."""
    waiting = Song.objects.filter(waits_for=PAY_DEPOSIT.code).order_by("booking").values_list("booking", flat=True)
    for booking_id in waiting.distinct():
        _ask_for_deposit(booking_id)


@transaction.atomic
def _ask_for_deposit(booking_id: int) -> None:
    booking = bookings.lock_booking(Booking.objects.get(pk=booking_id))
    titles = [
        f"“{title}”" for title in booking.songs.filter(waits_for=PAY_DEPOSIT.code).values_list("title", flat=True)
    ]
    agreed = booking.quotes.filter(state=Quote.State.ACCEPTED).first()
    if agreed is None or not titles:
        return
    key = f"quote:{agreed.pk}:deposit-due"
    if Mail.objects.filter(key__startswith=f"{key}:").exists():
        return
    amount, by = in_words(agreed.deposit_minor, agreed.currency), booking.created_by
    waits = "is ready and waits" if len(titles) == 1 else "are ready and wait"
    body = (
        f"{', '.join(titles)} {waits} for the deposit of {amount} alone. Tracking can begin as soon as {by.name} has "
        "recorded it."
    )
    mailroom.write_to_members(
        booking=booking,
        by=by,
        key=key,
        subject=f"The deposit for “{booking.title}” is due",
        body=with_how_to_pay(body),
        path=f"{page_of(booking)}#payments",
    )


def with_how_to_pay(body: str) -> str:
    """What asks for money says where it goes, as far as the house has written that."""
    how = House.get().how_to_pay
    return f"{body}\n\nHow to pay:\n{how}" if how else body


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
    if payment.kind == Payment.Kind.DEPOSIT:
        bookings.note_booking(booking, deposit_received_at=at)
    else:
        bookings.note_booking(booking, balance_received_at=at)
    booking.refresh_from_db()


def _say_received(payment: Payment, *, booking: Booking, by: User) -> None:
    word, amount = payment.get_kind_display(), payment.amount_in_words
    bookings.record(booking, f"recorded the {word}: {amount}, received {day_in_words(payment.received_on)}", actor=by)
    opens = payment.kind == Payment.Kind.BALANCE and booking.balance_before_files
    body = f"The {word} of {amount} is recorded as received on {day_in_words(payment.received_on)}. Thank you."
    mailroom.write_to_members(
        booking=booking,
        by=by,
        key=f"payment:{payment.pk}",
        subject=f"Your {word} for “{booking.title}” has arrived",
        body=f"{body} {RELEASED_SENTENCE}" if opens else body,
        path=booking.get_absolute_url() if opens else f"{page_of(booking)}#payments",
    )

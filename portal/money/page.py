"""A quote as a page shows it: amounts in words, what was agreed, what is still to come in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import F, Max

from portal.bookings.models import Booking
from portal.money.agreement import CAUTION, conditions
from portal.money.currencies import in_words, to_decimal
from portal.money.models import Payment, Quote
from portal.money.payments import too_late_for
from portal.money.services import house_today
from portal.people.models import House
from portal.takes.models import RoughMix


@dataclass(frozen=True)
class QuotePageLine:
    text: str
    quantity: str
    unit_price: str
    amount: str


@dataclass(frozen=True)
class QuotePage:
    quote: Quote
    lines: tuple[QuotePageLine, ...]
    total: str
    deposit: str
    balance: str
    conditions: tuple[str, ...]
    is_open: bool
    is_expired: bool
    # The two parties, as a printed quote names them.
    house: str
    drummer: str
    clients: str
    # As the house wrote it; a quote that costs nothing has none.
    how_to_pay: str
    caution: str = CAUTION


@dataclass(frozen=True)
class Instalment:
    """What was agreed to be paid, and what came in; either may be missing."""

    kind: Payment.Kind
    agreed: str
    agreed_amount: Decimal
    received: str
    received_on: date | None
    note: str
    payment: Payment | None
    # What taking the payment back would not undo.
    too_late: tuple[str, ...]


def quote_page_of(quote: Quote | None) -> QuotePage | None:
    if quote is None:
        return None
    lines = tuple(
        QuotePageLine(
            text=line.text,
            quantity=f"{line.quantity.normalize():f}",
            unit_price=in_words(line.unit_price_minor, quote.currency),
            amount=in_words(line.amount_minor, quote.currency),
        )
        for line in quote.lines.all()
    )
    house = House.get()
    is_expired = quote.state == Quote.State.SENT and quote.is_expired(house_today())
    return QuotePage(
        quote=quote,
        lines=lines,
        total=in_words(quote.total_minor, quote.currency),
        deposit=in_words(quote.deposit_minor, quote.currency) if quote.deposit_minor else "",
        balance=in_words(quote.balance_minor, quote.currency) if quote.balance_minor else "",
        conditions=tuple(conditions(quote)),
        is_open=quote.state == Quote.State.SENT and not is_expired,
        is_expired=is_expired,
        house=house.name,
        drummer=quote.booking.created_by.name,
        clients=", ".join(member.user.name for member in quote.booking.members.select_related("user").order_by("pk")),
        how_to_pay=house.how_to_pay if quote.total_minor else "",
    )


def unbilled_rounds(booking: Booking) -> list[RoughMix]:
    """Mixes whose change was asked for beyond the quote, since the newest quote was sent: it cannot hold them."""
    sent_at = booking.quotes.aggregate(newest=Max("sent_at"))["newest"]
    if sent_at is None:
        return []
    further = RoughMix.objects.filter(song__booking=booking, round_number__gt=F("rounds_included"))
    return list(further.filter(decided_at__gt=sent_at).select_related("song", "decided_by").order_by("decided_at"))


def instalments_of(booking: Booking) -> list[Instalment]:
    """Deposit and balance of what is in force; nothing before something is agreed."""
    agreed = booking.quotes.filter(state=Quote.State.ACCEPTED).prefetch_related("lines").first()
    if agreed is None:
        return []
    payments = {payment.kind: payment for payment in booking.payments.standing()}
    amounts = {Payment.Kind.DEPOSIT: agreed.deposit_minor, Payment.Kind.BALANCE: agreed.balance_minor}
    return [
        _instalment(kind, amount_minor, agreed.currency, payments.get(kind))
        for kind, amount_minor in amounts.items()
        if amount_minor or kind in payments
    ]


def _instalment(kind: Payment.Kind, amount_minor: int, currency: str, payment: Payment | None) -> Instalment:
    return Instalment(
        kind=kind,
        agreed=in_words(amount_minor, currency) if amount_minor else "",
        agreed_amount=to_decimal(amount_minor, currency),
        received=payment.amount_in_words if payment else "",
        received_on=payment.received_on if payment else None,
        note=payment.note if payment else "",
        payment=payment,
        too_late=tuple(too_late_for(payment)) if payment else (),
    )

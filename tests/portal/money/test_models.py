"""Totals and instalments: the parts always sum to the whole, the whole is the sum of the lines as shown."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from portal.money.currencies import to_minor
from portal.money.models import Payment, Quote, QuoteLine
from tests.factories import make_booking, make_quote

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("currency", "total", "deposit", "balance"),
    [
        ("EUR", "333.33", "166.67", "166.66"),
        ("KRW", "333333", "166667", "166666"),
        ("JPY", "333333", "166667", "166666"),
        ("KWD", "100.001", "50.001", "50.000"),
        ("EUR", "420.00", "210.00", "210.00"),
        ("EUR", "0.01", "0.01", "0.00"),
    ],
)
def test_half_is_parted_without_losing_a_unit(currency: str, total: str, deposit: str, balance: str) -> None:
    """Source: arithmetic; common practice of a 50 % deposit. Half a smallest unit goes to the deposit."""
    quote = make_quote(currency=currency, prices=[to_minor(Decimal(total), currency)])

    assert quote.deposit_minor == to_minor(Decimal(deposit), currency)
    assert quote.balance_minor == to_minor(Decimal(balance), currency)


def test_the_parts_sum_to_the_whole_at_every_percentage() -> None:
    quote = make_quote(prices=[33_333])
    for percent in range(101):
        quote.deposit_percent = percent
        assert quote.deposit_minor + quote.balance_minor == quote.total_minor == 33_333
        assert abs(quote.deposit_minor * 100 - 33_333 * percent) <= 50


def test_each_line_is_rounded_by_itself_and_then_summed() -> None:
    """Source: EN 16931-1 CO-10, the total equals the sum of the lines as shown: 3 × 33.34 = 100.02, not 100.01."""
    quote = make_quote(prices=[to_minor(Decimal("33.335"), "EUR")] * 3)

    assert [line.amount_minor for line in quote.lines.all()] == [3_334, 3_334, 3_334]
    assert quote.total_minor == 10_002


@pytest.mark.parametrize(("quantity", "amount"), [("2.5", 8_333), ("1", 3_333), ("0.01", 33), ("1.5", 5_000)])
def test_a_broken_quantity_rounds_its_own_line(quantity: str, amount: int) -> None:
    """33.33 × 2.5 = 83.325 → 83.33; × 0.01 = 0.3333 → 0.33; × 1.5 = 49.995 → 50.00 (halves up)."""
    assert QuoteLine(quantity=Decimal(quantity), unit_price_minor=3_333).amount_minor == amount


def test_a_quantity_of_nothing_is_no_line() -> None:
    line = QuoteLine(quote=make_quote(), position=9, text="Nothing", quantity=Decimal(0), unit_price_minor=1)
    with pytest.raises(ValidationError):
        line.full_clean()


def test_the_last_valid_day_counts_in_full() -> None:
    quote = Quote(valid_until=date(2026, 11, 27))
    assert not quote.is_expired(date(2026, 11, 27))
    assert quote.is_expired(date(2026, 11, 28))
    assert not Quote().is_expired(date(2999, 1, 1))


def test_the_database_keeps_a_deposit_within_the_whole_and_one_payment_of_a_kind() -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        make_quote(deposit_percent=101)
    booking = make_booking()
    payment = {
        "booking": booking,
        "kind": Payment.Kind.DEPOSIT,
        "amount_minor": 1,
        "currency": "EUR",
        "received_on": date(2026, 11, 25),
        "recorded_by": booking.created_by,
    }
    Payment.objects.create(**payment)
    with pytest.raises(IntegrityError), transaction.atomic():
        Payment.objects.create(**payment)

"""Amounts as people type them. Separators by country: Unicode CLDR (de, en, fr, de-CH, hi, ar), from memory."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.money.amounts import AmbiguousAmountError, AmountError, read_amount, write_amount


@pytest.mark.parametrize(
    ("typed", "amount"),
    [
        ("320", "320"),
        ("320,50", "320.50"),
        ("320.50", "320.50"),
        ("320,5", "320.5"),
        ("1.250,00", "1250"),
        ("1,250.00", "1250"),
        ("1 250,50", "1250.50"),
        ("1\u00a0250,50", "1250.50"),
        ("1\u202f250.50", "1250.50"),
        ("1’250.50", "1250.50"),
        ("1'250", "1250"),
        ("1 250", "1250"),
        ("1.250.000", "1250000"),
        ("1,250,000.5", "1250000.5"),
        ("12,34,567.89", "1234567.89"),
        ("0.125", "0.125"),
        ("1250.125", "1250.125"),
        ("33.3350", "33.335"),
        (",50", "0.50"),
        ("5.", "5"),
        ("  175.00 ", "175"),
        ("٣٢٠٫٥٠", "320.50"),
        ("١٬٢٥٠٫٥٠", "1250.50"),
        ("३२०.५०", "320.50"),
        ("３２０．５０", "320.50"),
        ("１，２５０．００", "1250"),
    ],
)
def test_reads_what_can_be_read_in_one_way(typed: str, amount: str) -> None:
    assert read_amount(typed) == Decimal(amount)


@pytest.mark.parametrize(
    ("typed", "readings"),
    [("1.250", ("1250", "1.250")), ("1,250", ("1250", "1.250")), ("33.335", ("33335", "33.335"))],
)
def test_asks_about_what_can_be_read_in_two(typed: str, readings: tuple[str, str]) -> None:
    with pytest.raises(AmbiguousAmountError) as told:
        read_amount(typed)

    assert told.value.readings == tuple(Decimal(reading) for reading in readings)
    large, small = (write_amount(reading.normalize()) for reading in told.value.readings)
    assert f"{large} or {small}" in str(told.value)
    assert (read_amount(large), read_amount(small)) == told.value.readings


@pytest.mark.parametrize(
    "typed",
    [
        "",
        "abc",
        "-5",
        "−5",
        "1e99",
        "1.25.00",
        "12.34.56",
        "1,2,3",
        "1.250 000,5",
        "1..5",
        "NaN",
        "1" * 41,
        "€ 5",
        "½",
        "²",
    ],
)
def test_what_is_no_amount_is_refused(typed: str) -> None:
    with pytest.raises(AmountError):
        read_amount(typed)


@given(st.decimals(min_value=0, max_value=10**9, places=2))
def test_the_ways_of_four_countries_agree(amount: Decimal) -> None:
    """English, German, French and Swiss writing of the same amount are never read as different ones."""
    english = f"{amount:,.2f}"
    german = english.translate(str.maketrans(",.", ".,"))
    french = english.replace(",", "\u202f").replace(".", ",")
    swiss = english.replace(",", "’")

    assert {read_amount(written) for written in (english, german, french, swiss)} == {amount}


@given(st.decimals(min_value=0, max_value=10**9, places=4))
def test_what_is_written_here_is_read_back(amount: Decimal) -> None:
    assert read_amount(write_amount(amount)) == amount

"""Minor units. Source: ISO 4217, list of 2025-02."""

from __future__ import annotations

from decimal import Decimal

import pytest

from portal.money.currencies import FOUR_DIGITS, MINOR_DIGITS, NO_DIGITS, THREE_DIGITS, in_words, to_decimal, to_minor


def test_every_code_is_three_letters_and_stands_in_one_row_only() -> None:
    assert all(len(code) == 3 and code.isascii() and code.isupper() for code in MINOR_DIGITS)
    others = [code for codes in (NO_DIGITS, THREE_DIGITS, FOUR_DIGITS) for code in codes.split()]
    assert len(others) == len(set(others)) == 17 + 7 + 2
    assert sum(digits == 2 for digits in MINOR_DIGITS.values()) == len(MINOR_DIGITS) - len(others)


@pytest.mark.parametrize(
    ("code", "digits"),
    [("EUR", 2), ("KRW", 0), ("JPY", 0), ("KWD", 3), ("CLF", 4), ("HUF", 2), ("IDR", 2), ("TWD", 2), ("ISK", 0)],
)
def test_the_list_of_iso_counts_not_that_of_payment_firms(code: str, digits: int) -> None:
    assert MINOR_DIGITS[code] == digits


@pytest.mark.parametrize(
    ("typed", "code", "minor"),
    [
        ("333.33", "EUR", 33_333),
        ("33.335", "EUR", 3_334),
        ("33.334999", "EUR", 3_333),
        ("333333", "KRW", 333_333),
        ("0.5", "JPY", 1),
        ("100.001", "KWD", 100_001),
        ("0", "USD", 0),
    ],
)
def test_typed_amounts_are_rounded_once_halves_up(typed: str, code: str, minor: int) -> None:
    assert to_minor(Decimal(typed), code) == minor


def test_amounts_keep_exactly_the_decimals_of_their_currency() -> None:
    assert str(to_decimal(33_330, "EUR")) == "333.30"
    assert str(to_decimal(5, "KWD")) == "0.005"
    assert str(to_decimal(333_333, "KRW")) == "333333"


def test_people_read_groups_of_three_and_the_code() -> None:
    assert in_words(123_456_789, "EUR") == "1\u202f234\u202f567.89\u00a0EUR"
    assert in_words(333_333, "KRW") == "333\u202f333\u00a0KRW"
    assert in_words(5, "EUR") == "0.05\u00a0EUR"

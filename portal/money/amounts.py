"""Amounts as people type them, in any script's digits and with the separators of any country.

What can be read in one way is read; what can be read in two ways is asked about, never guessed: "1.250" is a thousand
and more in one country and a little over one in another. Separators by CLDR: comma, point, spaces, apostrophes, and the
Arabic decimal and thousands separators (U+066B, U+066C). Groups of three, or of two before the last three as in India.
"""

from __future__ import annotations

import re
import unicodedata
from decimal import Decimal

# So long is no amount, in any script (house choice).
LONGEST = 40
GROUPS = re.compile(r"\d{1,3}(?:,\d{3})+|\d{1,2}(?:,\d{2})*,\d{3}")
PLAIN = re.compile(r"\d+")
# Written in place of a decimal point, or as a mark between groups only.
ALIKE = str.maketrans({"，": ",", "．": ".", "٫": ".", "٬": " ", "’": " ", "'": " ", "`": " "})


class AmountError(ValueError):
    """Nothing that is typed here can be an amount; the text says why. AmountError → AmbiguousAmountError."""


class AmbiguousAmountError(AmountError):
    """It can be read in two ways."""

    def __init__(self, typed: str, readings: tuple[Decimal, Decimal]) -> None:
        self.readings = readings
        large, small = (write_amount(reading.normalize()) for reading in readings)
        super().__init__(f"“{typed}” can be read in two ways. Please write {large} or {small}.")


def write_amount(amount: Decimal) -> str:
    """As `read_amount` reads it back in one way only: no groups, and never exactly three decimals."""
    written = f"{amount:f}"
    return f"{written}0" if len(written.partition(".")[2]) == 3 else written


def read_amount(typed: str) -> Decimal:
    """Read an amount of zero or more.

    Raises
    ------
    AmountError
        It is no amount.
    AmbiguousAmountError
        One separator with three digits behind it, as in "1.250".
    """
    text = in_plain_digits(typed.strip())
    decimal_mark = decimal_mark_of(text, typed)
    whole, _, part = text.rpartition(decimal_mark) if decimal_mark else (text, "", "")
    return Decimal(f"{without_groups(whole, typed) or '0'}.{check_digits(part, typed)}")


def in_plain_digits(typed: str) -> str:
    """Digits of every script as 0 to 9, every space between groups as one space."""
    if not typed or len(typed) > LONGEST:
        raise AmountError("Enter an amount, for instance 320.50.")
    text = "".join(plain(character) for character in typed.translate(ALIKE))
    if re.search(r"[^\d., ]", text):
        sign = text[0] in "-−"
        raise AmountError(
            "An amount is zero or more." if sign else "Enter the amount alone, for instance 320.50; no currency."
        )
    return text


def plain(character: str) -> str:
    if character.isdecimal():
        return str(unicodedata.decimal(character))
    return " " if unicodedata.category(character) == "Zs" else character


def decimal_mark_of(text: str, typed: str) -> str:
    """The sign before the decimals; "" where there are none. Of two kinds of separators it is the last one."""
    marks = [mark for mark in ".," if mark in text]
    if not marks:
        return ""
    if len(marks) == 2:
        return max(marks, key=text.rfind)
    (mark,) = marks
    if text.count(mark) > 1:
        return ""
    whole, _, part = text.partition(mark)
    if len(part) == 3 and PLAIN.fullmatch(whole) and 1 <= len(whole) <= 3 and whole.strip("0"):
        raise AmbiguousAmountError(typed, (Decimal(whole + part), Decimal(f"{whole}.{part}")))
    return mark


def without_groups(whole: str, typed: str) -> str:
    """The whole part without the marks between its groups, which are all of one kind."""
    kinds = {character for character in whole if not character.isdecimal()}
    if not kinds:
        return whole
    if len(kinds) > 1 or not GROUPS.fullmatch(re.sub(r"\D", ",", whole)):
        raise AmountError(f"“{typed}” is no amount. Write it plainly, for instance 1250.50.")
    return re.sub(r"\D", "", whole)


def check_digits(part: str, typed: str) -> str:
    if part and not PLAIN.fullmatch(part):
        raise AmountError(f"“{typed}” is no amount. Write it plainly, for instance 1250.50.")
    return part or "0"

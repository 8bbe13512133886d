"""Form fields that read what musicians write, and say in plain words what they cannot read."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from analysis.maps import MOST_IN_A_BAR
from portal.bookings.models import FASTEST_BPM, METER, SLOWEST_BPM

BPM_DECIMALS = 5
NUMBER = re.compile(r"[+-]?\d+(\.\d+)?(e[+-]?\d{1,3})?", re.ASCII)
BPM_UNIT = re.compile(r"\s*bpm\.?$", re.IGNORECASE)
WRITTEN_METER = re.compile(METER, re.ASCII)


class BpmField(forms.Field):
    """Beats per minute: "112", "112.5", "112,5" or "112 bpm"."""

    widget = forms.TextInput(attrs={"inputmode": "decimal", "class": "short", "autocomplete": "off", "maxlength": 40})

    def to_python(self, value: Any) -> Decimal | None:
        text = str(value or "").strip()
        return read_bpm(text) if text else None

    def prepare_value(self, value: Any) -> Any:
        return write_bpm(value) if isinstance(value, Decimal) else value


def read_bpm(text: str) -> Decimal:
    """Read a tempo, or raise a `ValidationError` that says what is wrong with it and what to do."""
    plain = BPM_UNIT.sub("", text.strip()).replace(",", ".").lower()
    if not NUMBER.fullmatch(plain):
        raise ValidationError(
            f"“{text}” is not a valid tempo. Enter beats per minute as a number, such as 112 or 112.5."
        )
    bpm = Decimal(plain)
    if bpm <= 0:
        raise ValidationError(f"A tempo of {text} is not possible. Leave the field empty if you don’t know the tempo.")
    if not SLOWEST_BPM <= bpm <= FASTEST_BPM:
        too = "slow" if bpm < SLOWEST_BPM else "fast"
        raise ValidationError(
            f"{text} is too {too}: the range is {SLOWEST_BPM} to {FASTEST_BPM} beats per minute. "
            "Leave the field empty if you don’t know the tempo."
        )
    if bpm != round(bpm, BPM_DECIMALS):
        raise ValidationError(f"{text} has more than {BPM_DECIMALS} decimal places.")
    return bpm


def write_bpm(bpm: Decimal) -> str:
    """A tempo without needless zeros: 112, 112.5, 98.76543."""
    return f"{bpm.normalize():f}"


class MeterField(forms.CharField):
    """A time signature: "4/4", "6 / 8"."""

    def __init__(self, **options: Any) -> None:
        super().__init__(max_length=20, **options)
        self.widget.attrs |= {"class": "short", "autocomplete": "off"}

    def to_python(self, value: Any) -> str:
        text = super().to_python(value) or ""
        plain = "".join(text.split())
        if not plain:
            return plain
        meter = WRITTEN_METER.fullmatch(plain)
        if meter is None:
            raise ValidationError(f"“{text}” is not a valid meter. Enter it as 4/4 or 6/8.")
        if int(meter[1]) > MOST_IN_A_BAR:
            raise ValidationError(
                f"{meter[1]} beats in one bar is not possible: the range is 1 to {MOST_IN_A_BAR}. "
                "Enter the meter as 4/4 or 6/8."
            )
        return plain

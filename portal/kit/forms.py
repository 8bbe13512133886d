"""What a kit page sends as JSON, checked field by field."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone

from portal.kit.errors import KitError
from portal.kit.models import HIGHEST_NUMBER, LONGEST_SECTION, LONGEST_WORD
from portal.kit.services import SentTake

MOST_TAKES_AT_ONCE = 200
FASTEST_PERCENT = 100
EARLIEST_YEAR, LATEST_YEAR = 1969, 2200


def check_clock(moment: datetime) -> None:
    """A clock that was never set is a real one; what no calendar of ours reaches is not."""
    if not EARLIEST_YEAR < moment.year < LATEST_YEAR:
        raise forms.ValidationError("This is no date of a device.")


class TakeForm(forms.Form):
    id = forms.UUIDField()
    number = forms.IntegerField(min_value=1, max_value=HIGHEST_NUMBER)
    is_kept = forms.BooleanField(required=False)
    word = forms.CharField(required=False, max_length=LONGEST_WORD)
    section = forms.CharField(required=False, max_length=LONGEST_SECTION)
    speed_percent = forms.IntegerField(required=False, min_value=1, max_value=FASTEST_PERCENT)
    is_undone = forms.BooleanField(required=False)
    revision = forms.IntegerField(min_value=1, max_value=2**31 - 1)
    logged_at = forms.DateTimeField(validators=[check_clock])

    def clean_speed_percent(self) -> int:
        """A page that a device kept from before there was one sends none."""
        return self.cleaned_data["speed_percent"] or 100


class HandTakeForm(forms.Form):
    """A take as it is logged or changed on the song's page; `seen` is the revision that the page showed."""

    number = forms.IntegerField(label="Take", min_value=1, max_value=HIGHEST_NUMBER)
    is_kept = forms.BooleanField(label="Kept", required=False)
    word = forms.CharField(label="A word", required=False, max_length=LONGEST_WORD)


class ChangeTakeForm(HandTakeForm):
    is_undone = forms.BooleanField(required=False)
    seen = forms.IntegerField(min_value=1, widget=forms.HiddenInput)


class ChangedForm(forms.Form):
    changed_at = forms.DateTimeField(validators=[check_clock])


def json_of(body: bytes) -> Mapping[str, Any]:
    try:
        sent = json.loads(body)
    except (ValueError, RecursionError) as error:
        raise KitError("This is not JSON.") from error
    if not isinstance(sent, dict):
        raise KitError("This is not a JSON object.")
    return sent


def takes_in(sent: Mapping[str, Any]) -> list[SentTake]:
    takes = sent.get("takes")
    if not isinstance(takes, list) or not 0 < len(takes) <= MOST_TAKES_AT_ONCE:
        raise KitError(f"Send from 1 to {MOST_TAKES_AT_ONCE} takes.")
    return [_take_in(one, place) for place, one in enumerate(takes, start=1)]


def _take_in(sent: Any, place: int) -> SentTake:
    form = TakeForm(texts_of(sent if isinstance(sent, dict) else {}))
    if not form.is_valid():
        raise KitError(f"Take {place} of those sent lacks or misstates: {', '.join(form.errors)}.")
    return SentTake(**form.cleaned_data)


def texts_of(sent: Mapping[str, Any]) -> dict[str, Any]:
    """As a form of a page would send them: a form's fields read texts."""
    return {name: value if isinstance(value, bool) else str(value) for name, value in sent.items()}


def changed_at_in(sent: Mapping[str, Any]) -> datetime:
    """By the device's clock; one that runs ahead must not hold up every later change."""
    form = ChangedForm(texts_of(sent))
    if not form.is_valid():
        raise KitError("Say when the balance was changed.")
    changed_at: datetime = form.cleaned_data["changed_at"]
    return min(changed_at, timezone.now())

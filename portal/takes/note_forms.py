"""What is typed about bars."""

from __future__ import annotations

import re
from typing import Any, cast

from django import forms

from portal.takes.models import RoughMix
from portal.takes.models.notes import HIGHEST_BAR, LONGEST_NOTE
from portal.takes.models.rough_mixes import RoughMixQuerySet

# "33", "33-36", "33–36", "33 to 36"; bars before bar one have a minus.
BARS = re.compile(r"([-\N{MINUS SIGN}]?\d{1,4})(?:\s*(?:-|\N{EN DASH}|to)\s*(-?\d{1,4}))?", re.ASCII | re.IGNORECASE)


class BarsField(forms.CharField):
    """One bar or a range of bars, as (first, last)."""

    def __init__(self, **options: Any) -> None:
        super().__init__(max_length=20, **options)
        self.widget.attrs |= {"class": "short", "autocomplete": "off"}

    def clean(self, value: Any) -> tuple[int, int]:
        text = super().clean(value)
        match = BARS.fullmatch(text.strip())
        if match is None:
            raise forms.ValidationError(
                f"“{text}” names no bars. Enter one bar, such as 33, or a range, such as 33-36."
            )
        first = int(match[1].replace("\N{MINUS SIGN}", "-"))
        last = int(match[2]) if match[2] else first
        if last < first:
            raise forms.ValidationError(f"Bar {last} comes before bar {first}. Enter the first bar first.")
        if last > HIGHEST_BAR:
            raise forms.ValidationError(f"The highest bar is {HIGHEST_BAR}.")
        return first, last


class NoteForm(forms.Form):
    """`map_version` is the map that the page counted bars by; `key` makes a note that is sent twice one note. `on` is
    the mix that it is about, one of `mixes`; nothing: the one that it is sent to."""

    bars = BarsField(label="Bar or bars", error_messages={"required": "Enter a bar, such as 33, or a range: 33-36."})
    text = forms.CharField(
        label="Note",
        max_length=LONGEST_NOTE,
        error_messages={"required": "Write what the note is."},
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    map_version = forms.IntegerField(min_value=1, widget=forms.HiddenInput)
    key = forms.UUIDField(required=False, widget=forms.HiddenInput)
    on = forms.ModelChoiceField(
        queryset=RoughMix.objects.none(),
        required=False,
        error_messages={"invalid_choice": "This rough mix is not there any more. Load the page again."},
    )

    def __init__(self, *args: Any, mixes: RoughMixQuerySet | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if mixes is not None:
            cast(forms.ModelChoiceField[RoughMix], self.fields["on"]).queryset = mixes


class AnswerForm(forms.Form):
    text = forms.CharField(
        max_length=LONGEST_NOTE, error_messages={"required": "Write the answer first."}, widget=forms.Textarea
    )

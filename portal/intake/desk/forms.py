"""What people write at intake."""

from __future__ import annotations

from typing import Any

from django import forms

from portal.bookings.board_filter import Due
from portal.bookings.fields import BpmField, MeterField
from portal.bookings.forms import ANY
from portal.bookings.stages import INTAKE_STAGES
from portal.intake.desk.queue_filter import Look, Show
from portal.intake.models.arrival import TAB_LENGTH

EARLIEST_BAR_ONE_S, LATEST_BAR_ONE_S = -10, 3600
REASON_LENGTH = 300
MOST_FILES_ANNOUNCED = 10_000


class WaiveForm(forms.Form):
    reason = forms.CharField(
        max_length=REASON_LENGTH,
        label="Why it does not matter",
        error_messages={"required": "Enter a reason: it is saved with the finding."},
    )


class OverruleForm(forms.Form):
    bpm = BpmField(label="Tempo", help_text="beats per minute", required=True)
    meter = MeterField(label="Meter", help_text="such as 4/4 or 6/8", required=True)
    bar_one_s = forms.DecimalField(
        label="Bar one",
        help_text="seconds from the start of the files",
        min_value=EARLIEST_BAR_ONE_S,
        max_value=LATEST_BAR_ONE_S,
        max_digits=12,
        decimal_places=7,
        error_messages={"invalid": "Enter seconds as a number, such as 2.143."},
    )
    note = forms.CharField(label="Note", max_length=REASON_LENGTH, required=False)

    def __init__(self, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        self.fields["bar_one_s"].widget = forms.TextInput(attrs={"inputmode": "decimal", "class": "short"})


class LookForm(forms.Form):
    show = forms.ChoiceField(choices=Show.choices, required=False, widget=forms.HiddenInput)
    words = forms.CharField(label="Song, booking or client", max_length=80, required=False)
    stage = forms.ChoiceField(
        label="Stage", choices=[ANY, *((stage.value, stage.label) for stage in INTAKE_STAGES)], required=False
    )
    due = forms.ChoiceField(label="Due", choices=[ANY, *Due.choices], required=False)

    @property
    def look(self) -> Look:
        """What was typed, as far as it can be meant."""
        self.is_valid()
        said = self.cleaned_data
        show = Show(said.get("show") or Show.ALL)
        return Look(show, said.get("words", ""), said.get("stage", ""), said.get("due", ""))


class KeepViewForm(LookForm):
    name = forms.CharField(max_length=40)


class AnswerForm(forms.Form):
    """`seen`: which answer the page showed, by its number."""

    code = forms.CharField(max_length=40)
    value = forms.CharField(max_length=100, required=False)
    seen = forms.IntegerField(min_value=0)


class AnnounceForm(forms.Form):
    """How many files a tab still has to send; the tab names itself."""

    tab = forms.RegexField(r"^[0-9a-z-]+$", max_length=TAB_LENGTH)
    count = forms.IntegerField(min_value=0, max_value=MOST_FILES_ANNOUNCED)

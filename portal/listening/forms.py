"""What is asked and answered in a listening check."""

from __future__ import annotations

from typing import Any

from django import forms

from portal.intake.checks.tapping import read_taps
from portal.listening.models import MOST_BARS, Excerpt

MOST_TAPS = 64


class AskForm(forms.ModelForm[Excerpt]):
    first_bar = forms.IntegerField(
        label="Eight bars from bar",
        min_value=1,
        max_value=MOST_BARS,
        initial=1,
        widget=forms.NumberInput(attrs={"class": "short"}),
        error_messages={
            "required": "Enter the first bar.",
            "invalid": "Enter a bar number, such as 17.",
        },
    )

    class Meta:
        model = Excerpt
        fields = ("first_bar", "note")
        labels = {"note": "Note"}
        widgets = {"note": forms.Textarea(attrs={"rows": 2})}


class AnswerForm(forms.Form):
    answer = forms.ChoiceField(
        choices=Excerpt.Answer.choices, error_messages={"required": "Choose one of the answers."}
    )
    words = forms.CharField(required=False, max_length=2000)
    taps_s = forms.CharField(required=False, max_length=4000)

    def clean_taps_s(self) -> list[float]:
        """Seconds of the song."""
        return read_taps(self.cleaned_data["taps_s"], most=MOST_TAPS) or []

    def clean(self) -> dict[str, Any]:
        said = super().clean() or {}
        if said.get("answer") == Excerpt.Answer.ELSEWHERE and not said.get("taps_s") and not said.get("words"):
            self.add_error("taps_s", "Where is beat one? Play the bars and tap along, or describe it.")
        if said.get("answer") == Excerpt.Answer.OTHER and not said.get("words"):
            self.add_error("words", "Describe what is different.")
        return said

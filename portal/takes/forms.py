"""What is typed about rough mixes."""

from __future__ import annotations

from typing import Any

from django import forms

from portal.takes.models import RoughMix


class SendForm(forms.ModelForm[RoughMix]):
    class Meta:
        model = RoughMix
        fields = ("note",)
        labels = {"note": "A word to go with it"}
        help_texts = {"note": "What to listen for, what is still open."}
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}


class DecisionForm(forms.Form):
    ACCEPT, CHANGE = "accept", "change"

    decision = forms.ChoiceField(choices=[(ACCEPT, "accept"), (CHANGE, "ask for a change")])
    words = forms.CharField(
        label="What should change?",
        help_text="Name the bar or the minute where you can: “bar 33, crash instead of ride”.",
        max_length=4000,
        required=False,
        widget=forms.Textarea(attrs={"rows": 4}),
    )

    def clean(self) -> dict[str, Any]:
        typed = self.cleaned_data
        if typed.get("decision") == self.CHANGE and not typed.get("words"):
            self.add_error("words", "Say in a sentence what should change.")
        return typed


class UploadForm(forms.Form):
    """The plain way in, for a browser without script."""

    file = forms.FileField(label="Rough mix")

"""What is typed about rough mixes."""

from __future__ import annotations

from typing import Any

from django import forms

from portal.takes.models import RoughMix


class SendForm(forms.ModelForm[RoughMix]):
    class Meta:
        model = RoughMix
        fields = ("note",)
        labels = {"note": "Note"}
        help_texts = {"note": "What to listen for, what is not final yet."}
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}


class DecisionForm(forms.Form):
    """The client's word. A change needs words; acceptance needs none."""

    ACCEPT, CHANGE = "accept", "change"

    decision = forms.ChoiceField(choices=[(ACCEPT, "accept"), (CHANGE, "ask for a change")])
    words = forms.CharField(
        label="What should change?",
        help_text="Give the bar or the time if you can: “bar 33, crash instead of ride”.",
        max_length=4000,
        error_messages={"required": "Describe what should change."},
        widget=forms.Textarea(attrs={"rows": 4}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["words"].required = self.data.get("decision") != self.ACCEPT


class UploadForm(forms.Form):
    """The plain way in, for a browser without script."""

    file = forms.FileField(label="Rough mix")

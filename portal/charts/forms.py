"""What is sent for a chart."""

from __future__ import annotations

from django import forms


class MusicXmlForm(forms.Form):
    file = forms.FileField(
        label="A chart as MusicXML",
        help_text="It becomes a new version. What it holds beyond bars, rhythm and signs is named and left out.",
        widget=forms.ClearableFileInput(attrs={"accept": ".musicxml,.xml"}),
    )

"""What is sent for a chart."""

from __future__ import annotations

from django import forms


class MusicXmlForm(forms.Form):
    file = forms.FileField(
        label="A chart as MusicXML",
        help_text="It becomes a new version. Sections, meters, tempi, repeats, jumps, rests, dynamics and words are"
        " read. Notes become slashes; those, hits and what else it holds are named and left out.",
        widget=forms.ClearableFileInput(attrs={"accept": ".musicxml,.xml"}),
    )

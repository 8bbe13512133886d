"""What a house wants of clicks and session packs, and what one song has otherwise."""

from __future__ import annotations

from typing import Any, ClassVar

from django import forms
from django.core.exceptions import ValidationError

from analysis.maps import HIGHEST_PEAK_DBFS
from analysis.session import DEFAULT_TEMPLATE, FIELDS, NameParts, NameTemplateError, check_template, session_names
from portal.form_saving import RowForm
from portal.prep.models import ClickSound, Depth, HousePrep, Rate, SongPrep, Subdivision

QUIETEST_DBFS = -40
LOUDEST_DBFS = int(HIGHEST_PEAK_DBFS) - 1
AS_FILES = "as most of the song’s files"
# Invented, to show what a template gives.
SHOWN = NameParts("Mara König", "Cold Bus Under Spoons", "Ida Low", 2)
SHOWN_NAMES = ("bass gtr.wav", "Keys (wet).wav")


def preview(template: str) -> list[str]:
    """Two names as the template makes them; none for one that makes none."""
    try:
        return session_names(template, SHOWN, SHOWN_NAMES)
    except NameTemplateError:
        return []


class HousePrepForm(RowForm[HousePrep]):
    sample_rate_hz = forms.TypedChoiceField(
        label="Sample rate",
        choices=[("", AS_FILES), *Rate.choices],
        coerce=int,
        empty_value=None,
        required=False,
        help_text="Files at another rate are converted once.",
    )
    name_template = forms.CharField(
        label="Names of the files",
        max_length=100,
        help_text=f"Fields: {', '.join(f'{{{name}}} ({what})' for name, what in FIELDS.items())}. The usual: "
        f"{DEFAULT_TEMPLATE}",
    )
    click_peak_dbfs = forms.IntegerField(
        label="Peak of the click, in dBFS",
        min_value=QUIETEST_DBFS,
        max_value=LOUDEST_DBFS,
        help_text="Usual: −12. At most −8, so that nothing between the samples passes −6.",
    )

    class Meta:
        model = HousePrep
        fields: ClassVar = [
            "sample_rate_hz",
            "bit_depth",
            "start_bar",
            "count_in_bars",
            "clock_start_h",
            "name_template",
            "click_sound",
            "subdivision",
            "click_peak_dbfs",
            "keep_packs_days",
        ]
        labels: ClassVar = {
            "bit_depth": "Bit depth",
            "start_bar": "Session bar where bar one goes",
            "count_in_bars": "Bars of count-in",
            "clock_start_h": "Hour on the session’s clock at its start",
            "click_sound": "Sound of the click",
            "subdivision": "The click plays",
            "keep_packs_days": "Keep session packs for (days)",
        }
        help_texts: ClassVar = {
            "start_bar": "Bar 3 leaves two bars before it. A song that needs more room starts later.",
            "count_in_bars": "Unless the brief or the map says otherwise. 0: none.",
            "clock_start_h": "The time reference in every file: 0 or 1 is usual.",
            "keep_packs_days": "Then they are removed. They can be made anew; clients’ files are not touched.",
        }

    def clean_name_template(self) -> str:
        template: str = self.cleaned_data["name_template"]
        try:
            check_template(template)
        except NameTemplateError as error:
            raise ValidationError(str(error)) from error
        return template


class SongPrepForm(forms.ModelForm[SongPrep]):
    """Empty is as the house has it; the labels say how that is."""

    class Meta:
        model = SongPrep
        fields: ClassVar = [
            "click_sound",
            "subdivision",
            "bars_on",
            "bars_off",
            "sample_rate_hz",
            "bit_depth",
            "start_bar",
        ]
        labels: ClassVar = {
            "click_sound": "Sound of the click",
            "subdivision": "The click plays",
            "bars_on": "Bars of click",
            "bars_off": "Bars without",
            "sample_rate_hz": "Sample rate",
            "bit_depth": "Bit depth",
            "start_bar": "Session bar where bar one goes",
        }
        help_texts: ClassVar = {
            "bars_off": "For practice: in turn with the bars of click, from bar one on. 0: the click never stops.",
        }

    def __init__(self, *args: Any, house: HousePrep, **options: Any) -> None:
        super().__init__(*args, **options)
        shown: dict[str, tuple[list[tuple[Any, Any]], str]] = {
            "click_sound": (list(ClickSound.choices), house.get_click_sound_display()),
            "subdivision": (list(Subdivision.choices), house.get_subdivision_display()),
            "sample_rate_hz": (list(Rate.choices), house.get_sample_rate_hz_display() or AS_FILES),
            "bit_depth": (list(Depth.choices), house.get_bit_depth_display()),
        }
        for name, (choices, usual) in shown.items():
            field = self.fields[name]
            assert isinstance(field, forms.TypedChoiceField)  # noqa: S101 - a model field with choices
            field.choices = [("", f"as the house: {usual}"), *choices]
        self.fields["start_bar"].help_text = f"Empty: as the house, bar {house.start_bar}."

"""What is typed about a delivery."""

from __future__ import annotations

from pathlib import PurePath
from typing import Any

from django import forms

from analysis.delivery import LABELS, label_of
from portal.delivery.links import DAYS, USUAL_DAYS
from portal.delivery.models import Delivery, DeliveryFile, Waiver
from portal.form_saving import RowForm


class UploadForm(forms.Form):
    """The plain way in, for a browser without script."""

    file = forms.FileField(label="Track")


class WaiveForm(forms.ModelForm[Waiver]):
    class Meta:
        model = Waiver
        fields = ("code", "file_name", "reason")
        labels = {"reason": "Why it can be waived"}
        widgets = {"code": forms.HiddenInput(), "file_name": forms.HiddenInput()}


class ShareForm(forms.Form):
    """A link for somebody without an account."""

    made_for = forms.CharField(
        label="For whom", max_length=80, help_text="So that you know later whose link it is: “the mix engineer”."
    )
    days = forms.TypedChoiceField(
        label="Open for",
        coerce=int,
        choices=[(days, f"{days} day{'s' * (days > 1)}") for days in DAYS],
        initial=USUAL_DAYS,
    )


class ReleaseForm(forms.ModelForm[Delivery]):
    class Meta:
        model = Delivery
        fields = ("note",)
        labels = {"note": "Note"}
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}


class SheetForm(RowForm[Delivery]):
    """What the sheet says of the set as a whole."""

    class Meta:
        model = Delivery
        fields = ("perspective", "begins", "recall")
        labels = {"perspective": "Left and right are", "begins": "The files begin", "recall": "For the next time"}
        help_texts = {
            "perspective": "There is no standard, so the sheet states it, and the check looks for it.",
            "begins": "The agreed zero: the check looks for it, and the sheet counts bar one from it.",
            "recall": "Heads, tuning, places of microphones, settings. It is on the sheet that the client gets.",
        }
        widgets = {"recall": forms.Textarea(attrs={"rows": 4})}


class PhotoForm(forms.Form):
    photo = forms.FileField(
        label="Photograph of the kit",
        help_text="JPEG, PNG or WebP. It is written anew: place, time and camera are not kept.",
        widget=forms.ClearableFileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
    )


class TrackForm(RowForm[DeliveryFile]):
    """What the sheet says of one track."""

    class Meta:
        model = DeliveryFile
        fields = ("channel", "microphone", "polarity", "take", "note")

    def __init__(self, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        said = LABELS.get(label_of(PurePath(self.instance.name).stem))
        unsaid = f"{said} (by name)" if said else "not known"
        self.fields["channel"].choices = [("", unsaid), *LABELS.items()]  # type: ignore[attr-defined]


class TrackFormSet(forms.BaseModelFormSet[DeliveryFile, TrackForm]):
    """A row for each file of the set, whatever number of rows the page says it sends."""

    def initial_form_count(self) -> int:
        return len(self.get_queryset())

    total_form_count = initial_form_count

    def clean(self) -> None:
        super().clean()
        if self.management_form.cleaned_data.get("TOTAL_FORMS") != self.total_form_count():
            raise forms.ValidationError("The files of this set have changed. Check the rows, then save again.")


TrackForms = forms.modelformset_factory(DeliveryFile, form=TrackForm, formset=TrackFormSet, extra=0)

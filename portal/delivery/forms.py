"""What is typed about a delivery."""

from __future__ import annotations

from django import forms

from portal.delivery.models import Delivery, DeliveryFile, Waiver


class UploadForm(forms.Form):
    """The plain way in, for a browser without script."""

    file = forms.FileField(label="Track")


class WaiveForm(forms.ModelForm[Waiver]):
    class Meta:
        model = Waiver
        fields = ("code", "file_name", "reason")
        labels = {"reason": "Why it may pass"}
        widgets = {"code": forms.HiddenInput(), "file_name": forms.HiddenInput()}


class ReleaseForm(forms.ModelForm[Delivery]):
    class Meta:
        model = Delivery
        fields = ("note",)
        labels = {"note": "A word to go with it"}
        widgets = {"note": forms.Textarea(attrs={"rows": 3})}


class PerspectiveForm(forms.ModelForm[Delivery]):
    class Meta:
        model = Delivery
        fields = ("perspective",)
        labels = {"perspective": "Left and right are"}
        help_texts = {"perspective": "There is no rule for it, so the track sheet says it."}


class TrackForm(forms.ModelForm[DeliveryFile]):
    """One row of the track sheet."""

    class Meta:
        model = DeliveryFile
        fields = ("microphone", "polarity", "take", "note")


TrackForms = forms.modelformset_factory(DeliveryFile, form=TrackForm, extra=0)

"""What is typed about bookings and songs."""

from __future__ import annotations

from typing import ClassVar

from django import forms
from django.core.exceptions import ValidationError
from django.db import models
from django.http import QueryDict
from django.utils.text import capfirst

from portal.bookings.board_filter import BoardFilter, Due, turn_choices
from portal.bookings.fields import BpmField, MeterField
from portal.bookings.models import Booking, Brief, Song
from portal.bookings.stages import OVER_STAGES, BookingStage
from portal.people.models import User

MOST_SONGS = 40
ANY = ("", "any")
TITLE_LENGTH: int = Song._meta.get_field("title").max_length or 0


class SongTitlesField(forms.CharField):
    """Several titles, one per line."""

    def __init__(self) -> None:
        super().__init__(
            label="Songs",
            help_text="One title per line. You can add more later.",
            widget=forms.Textarea(attrs={"rows": 5}),
        )

    def clean(self, value: str) -> list[str]:
        titles = [line.strip() for line in (super().clean(value) or "").splitlines() if line.strip()]
        too_long = next((title for title in titles if len(title) > TITLE_LENGTH), None)
        if too_long:
            raise ValidationError(f"“{too_long[:40]}…” is too long for a title: at most {TITLE_LENGTH} characters.")
        if len(titles) > MOST_SONGS:
            raise ValidationError(f"That is {len(titles)} songs; one booking can have at most {MOST_SONGS}.")
        return titles


class NewBookingForm(forms.Form):
    title = forms.CharField(
        label="Title",
        max_length=Booking._meta.get_field("title").max_length,
        help_text="The name you and the client use for this job.",
    )
    song_titles = SongTitlesField()
    due_on = forms.DateField(
        label="Due on",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}),
        help_text="The date the client needs everything.",
    )
    client_name = forms.CharField(label="Client’s name", max_length=120)
    client_email = forms.EmailField(
        label="Client’s e-mail address", help_text="The invitation is sent there together with the quote."
    )

    def clean_client_email(self) -> str:
        email: str = self.cleaned_data["client_email"].lower()
        if User.objects.filter(email=email, role=User.Role.DRUMMER).exists():
            raise ValidationError(
                "This address belongs to a drummer of this house, who sees every booking. Enter the client’s address."
            )
        return email


class BoardFilterForm(forms.Form):
    """What nobody can have meant filters nothing."""

    words = forms.CharField(label="Booking or client", max_length=80, required=False)
    due = forms.ChoiceField(label="Due", choices=[ANY, *Due.choices], required=False)

    def __init__(self, data: QueryDict, *, user: User, over: bool = False) -> None:
        super().__init__(data)
        stages = [(stage.value, stage.label) for stage in BookingStage if (stage in OVER_STAGES) == over]
        self.fields["stage"] = forms.ChoiceField(label="Stage", choices=[ANY, *stages], required=False)
        self.fields["turn"] = forms.ChoiceField(label="Turn", choices=[ANY, *turn_choices(user)], required=False)
        if over:
            del self.fields["turn"], self.fields["due"]
        for name, field in self.fields.items():
            field.widget.attrs |= {"class": "short", "id": f"board-{name}"}

    @property
    def look(self) -> BoardFilter:
        self.is_valid()
        return BoardFilter(**self.cleaned_data)


class AddSongForm(forms.Form):
    title = forms.CharField(label="Title of the song", max_length=TITLE_LENGTH)


class CancelForm(forms.Form):
    reason = forms.CharField(
        label="Why", max_length=200, required=False, help_text="Both sides see it in the timeline."
    )


def capitalised(choices: type[models.TextChoices]) -> list[tuple[str, str]]:
    """The same words as in a sentence, standing alone."""
    return [(choice.value, capfirst(choice.label)) for choice in choices]


class BriefForm(forms.ModelForm[Brief]):
    bpm = BpmField(
        label="Tempo, in beats per minute",
        required=False,
        help_text="Only if you know it: 112 or 112.5. We measure it anyway.",
    )
    meter = MeterField(label="Meter", required=False, help_text="Such as 4/4, 3/4 or 6/8.")
    starts = forms.ChoiceField(label="Your files start", choices=capitalised(Brief.Starts), widget=forms.RadioSelect)
    click = forms.ChoiceField(label="Click track", choices=capitalised(Brief.Clicks), widget=forms.RadioSelect)
    count_in_bars = forms.IntegerField(
        label="Bars of count-in in your files",
        required=False,
        min_value=0,
        max_value=16,
        widget=forms.NumberInput(attrs={"class": "short"}),
        error_messages={
            "invalid": "Enter the number of bars, such as 2.",
            "min_value": "The count-in cannot be negative.",
            "max_value": "More than 16 bars of count-in: please check the number.",
        },
    )

    class Meta:
        model = Brief
        fields: ClassVar = ["bpm", "meter", "starts", "count_in_bars", "click", "feel", "references", "notes"]
        labels: ClassVar = {
            "feel": "Feel",
            "references": "References",
            "notes": "Notes",
        }
        help_texts: ClassVar = {
            "feel": "How it should feel: straight or swung, laid back or pushing.",
            "references": "Recordings that sound like what you want, one per line.",
            "notes": "Where to play and where not, hits, stops, sounds: anything the drummer should know.",
        }
        widgets: ClassVar = {
            "references": forms.Textarea(attrs={"rows": 3}),
            "notes": forms.Textarea(attrs={"rows": 6}),
        }

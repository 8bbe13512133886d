"""What is typed to correct a booking and its songs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from django import forms
from django.http import QueryDict

from portal.bookings.models import Booking, Song

TITLE_LENGTH: int = Song._meta.get_field("title").max_length or 0
LAST_PLACE = 9_999


class CorrectForm(forms.Form):
    title = forms.CharField(label="Title", max_length=Booking._meta.get_field("title").max_length)
    due_on = forms.DateField(
        label="Due on",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}),
        help_text="Once a quote is accepted, the client is asked and the present date stands until they accept.",
    )


class SongsForm(forms.Form):
    """A title and a place for each song of the booking."""

    def __init__(self, data: QueryDict | None, songs: Iterable[Song]) -> None:
        super().__init__(data)
        self.songs = list(songs)
        for place, song in enumerate(self.songs, start=1):
            name = f"“{song.title}”"
            self.fields[f"place-{song.pk}"] = forms.IntegerField(
                label=f"Place of {name}", min_value=1, max_value=LAST_PLACE, initial=place,
                widget=forms.NumberInput(attrs={"class": "short"}),
            )  # fmt: skip
            self.fields[f"title-{song.pk}"] = forms.CharField(
                label=f"Title of {name}", max_length=TITLE_LENGTH, initial=song.title
            )

    @property
    def rows(self) -> list[tuple[Song, forms.BoundField, forms.BoundField]]:
        return [(song, self[f"place-{song.pk}"], self[f"title-{song.pk}"]) for song in self.songs]

    @property
    def titles(self) -> Mapping[int, str]:
        """Those that were changed: what another drummer changed meanwhile stays."""
        typed = {song.pk: self.cleaned_data[f"title-{song.pk}"] for song in self.songs}
        return {song.pk: typed[song.pk] for song in self.songs if typed[song.pk] != song.title}

    @property
    def order(self) -> Mapping[int, int]:
        return {song.pk: self.cleaned_data[f"place-{song.pk}"] for song in self.songs}


class DueAnswerForm(forms.Form):
    answer = forms.ChoiceField(choices=[("accept", "accept"), ("decline", "decline")])
    due_on = forms.DateField()

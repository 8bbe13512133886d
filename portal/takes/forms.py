"""What is typed about rough mixes."""

from __future__ import annotations

from typing import Any, cast

from django import forms

from portal.bookings.models import Song
from portal.takes.about import NO_TAKE, About, Begins, Holds, session_begins_at_s, usual_about
from portal.takes.models import RoughMix
from portal.takes.rounds import Rounds


class AboutForm(forms.Form):
    """Which take it is of, what it holds, and where it begins: what is not said stays as it is usual, or as it is said
    of the mix that is there already (`of`)."""

    # A page may hold both forms.
    ids = "upload-%s"

    take = forms.ChoiceField(label="Take", required=False)
    holds = forms.ChoiceField(
        label="It holds",
        choices=Holds.choices,
        required=False,
        help_text="With the drums alone, the client sets their balance with the music while listening.",
    )
    begins = forms.ChoiceField(label="It begins", required=False)

    def __init__(self, *args: Any, song: Song, of: RoughMix | None = None, **kwargs: Any) -> None:
        self.usual = usual = About(of.take, of.holds, of.begins) if of else usual_about(song)
        initial = {
            "take": str(usual.take.pk) if usual.take else NO_TAKE,
            "holds": usual.holds,
            "begins": usual.begins,
        }
        super().__init__(*args, **({"auto_id": self.ids} | kwargs))
        self.initial.update(initial)
        self.takes = {str(take.pk): take for take in song.take_logs.standing()}
        if usual.take:
            self.takes[str(usual.take.pk)] = usual.take
        _offer(
            self.fields["take"],
            [
                *(
                    (key, f"take {take.number}{f': {take.word}' if take.word else ''}")
                    for key, take in self.takes.items()
                ),
                (NO_TAKE, "not in the log"),
            ],
        )
        has_session = session_begins_at_s(song) is not None or usual.begins == Begins.SESSION
        begins = [choice for choice in Begins.choices if choice[0] != Begins.SESSION or has_session]
        _offer(self.fields["begins"], begins)

    @property
    def about(self) -> About:
        said, usual = self.cleaned_data, self.usual
        take = self.takes.get(said["take"]) if said["take"] else usual.take
        return About(take, said["holds"] or usual.holds, said["begins"] or usual.begins)


def _offer(field: forms.Field, choices: list[tuple[str, str]]) -> None:
    cast(forms.ChoiceField, field).choices = choices


class SendForm(AboutForm):
    ids = "send-%s"

    note = forms.CharField(
        label="Note",
        help_text="What to listen for, what is not final yet.",
        required=False,
        max_length=4000,
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class UploadForm(AboutForm):
    """The plain way in, for a browser without script."""

    file = forms.FileField(label="Rough mix")


class DecisionForm(forms.Form):
    """The client's word. A change needs words or notes by bar; acceptance needs none.

    `rounds_seen` is what the page showed of the rounds; a further round is asked for only with `further` ticked.
    """

    ACCEPT, CHANGE = "accept", "change"
    # Notes may be left while the form stands open: only the house knows whether words are missing.
    use_required_attribute = False

    decision = forms.ChoiceField(choices=[(ACCEPT, "accept"), (CHANGE, "ask for a change")])
    words = forms.CharField(
        label="What should change?",
        max_length=4000,
        error_messages={"required": "Describe what should change, or leave a note at a bar first."},
        widget=forms.Textarea(attrs={"rows": 4}),
    )
    further = forms.BooleanField(
        label="Ask for it as a further round, beyond those in the quote",
        error_messages={"required": "This round is beyond those in the quote. Tick the box to ask for it anyway."},
    )
    rounds_seen = forms.CharField(required=False, max_length=40, widget=forms.HiddenInput)

    def __init__(self, *args: Any, rounds: Rounds, notes: int = 0, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial["rounds_seen"] = rounds.seen
        is_change = self.data.get("decision") != self.ACCEPT
        self.fields["words"].required = is_change and not notes
        self.fields["further"].required = is_change and rounds.next_is_further
        self.fields["words"].help_text = (
            f"Your {notes} note{'s' * (notes > 1)} at bars go with it."
            if notes
            else "Give the bar or the time if you can: “bar 33, crash instead of ride”."
        )

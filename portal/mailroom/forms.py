"""What is written in the mailroom."""

from __future__ import annotations

import uuid

from django import forms
from django.http import QueryDict

from analysis.findings import FINDING_KINDS
from portal.mailroom.models import MessageRule

MESSAGE_LENGTH = 8_000
MOST_REMINDER_DAYS = 60


class OnceForm(forms.Form):
    """`key` is made with the form: pressed twice, it is the same form, and does its work once."""

    key = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, data: QueryDict | None = None) -> None:
        # A page may hold several of these: each has element ids of its own.
        super().__init__(data, initial={"key": uuid.uuid4()}, auto_id=f"{type(self).__name__}_%s")


class WriteForm(OnceForm):
    body = forms.CharField(
        label="Write a message",
        max_length=MESSAGE_LENGTH,
        widget=forms.Textarea(attrs={"rows": 4}),
        error_messages={"required": "The message is empty."},
    )


class InviteForm(OnceForm):
    name = forms.CharField(label="Name", max_length=120)
    email = forms.EmailField(label="E-mail address")


class RulesForm(forms.Form):
    """One choice per kind of finding, in the order of the engine's list; and after how long a question is repeated."""

    remind_after_days = forms.IntegerField(
        label="Remind the client of an open question after (days)",
        min_value=0,
        max_value=MOST_REMINDER_DAYS,
        help_text=(
            "A second reminder follows after the same number of days. Never at night in the client’s "
            "time zone. 0 turns reminders off."
        ),
    )

    def __init__(self, data: QueryDict | None, *, rules: dict[str, MessageRule.When], remind_after_days: int) -> None:
        super().__init__(data, initial=rules | {"remind_after_days": remind_after_days})
        for kind in FINDING_KINDS:
            self.fields[kind.code] = forms.ChoiceField(label=kind.title, choices=MessageRule.When.choices)

    @property
    def rules(self) -> dict[str, MessageRule.When]:
        return {kind.code: MessageRule.When(self.cleaned_data[kind.code]) for kind in FINDING_KINDS}

"""What a message asks, question by question, and who has looked at it."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.utils import timezone

from portal.folding import FoldedField, SearchedModel, SearchedQuerySet
from portal.mailroom.models.threads import Message, answer_words
from portal.people.models import User

REASON_LENGTH = 200


class QuestionQuerySet(SearchedQuerySet["Question"]):
    def visible_to(self, user: User) -> QuestionQuerySet:
        return self if user.is_drummer else self.filter(message__booking__members__user=user, asked_at__isnull=False)

    def waiting(self) -> QuestionQuerySet:
        """For the client: an answer that is saved but not sent can still be changed."""
        return self.filter(state__in=(Question.State.OPEN, Question.State.SAVED))

    def undecided(self) -> QuestionQuerySet:
        """For anybody: those that are held back as well."""
        return self.filter(state__in=(Question.State.HELD, Question.State.OPEN, Question.State.SAVED))


class Question(SearchedModel):
    """One thing that a message asks: HELD (only the drummer sees it) → OPEN → SAVED (answered, and can be changed) →
    SENT (the answer counts). Or nobody needs an answer any more, and `reason` says why: SETTLED by what was found
    since, MOOT when the work went on without one.

    `topic` names what shares an answer. `offers` are the one-tap answers: [{"code": "make-map", "label": "There is no
    click: please make the map"}, ...]; with "asks" (the unit, "bpm") the button has a field for a figure beside it,
    and the answer a "value". `revision` counts the answers that were saved: a page knows which one it showed.
    """

    class State(models.TextChoices):
        HELD = "held", "held"
        OPEN = "open", "open"
        SAVED = "saved", "saved"
        SENT = "sent", "sent"
        SETTLED = "settled", "settled"
        MOOT = "moot", "moot"

    message = models.ForeignKey(Message, on_delete=models.CASCADE, related_name="questions")
    topic = models.CharField(max_length=60)
    about = models.CharField(max_length=80)
    text = models.TextField()
    folded = FoldedField(of=["about", "text"])
    offers = models.JSONField(default=list)
    state = models.CharField(max_length=7, choices=State.choices, default=State.HELD)
    asked_at = models.DateTimeField(null=True, blank=True)
    answer = models.JSONField(null=True, blank=True)
    answered_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    answered_at = models.DateTimeField(null=True, blank=True)
    revision = models.PositiveIntegerField(default=0)
    reason = models.CharField(max_length=REASON_LENGTH, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)

    objects: ClassVar[QuestionQuerySet] = QuestionQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=~models.Q(state__in=["saved", "sent"]) | models.Q(answer__isnull=False),
                name="mailroom_answered_with_an_answer",
            ),
            models.CheckConstraint(
                condition=~models.Q(state__in=["held", "open"]) | models.Q(answer__isnull=True),
                name="mailroom_unanswered_without_one",
            ),
            models.CheckConstraint(
                condition=~models.Q(state__in=["open", "saved", "sent"]) | models.Q(asked_at__isnull=False),
                name="mailroom_answered_when_asked",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.about} ({self.state})"

    @property
    def is_waiting(self) -> bool:
        return self.state in (self.State.OPEN, self.State.SAVED)

    @property
    def answer_in_words(self) -> str:
        return answer_words(self.answer)

    def ask(self) -> None:
        self.state, self.asked_at = self.State.OPEN, timezone.now()
        self.save(update_fields=["state", "asked_at"])

    def say(self, *, text: str, offers: list[dict[str, str]]) -> None:
        self.text, self.offers = text, offers
        self.save(update_fields=["text", "offers"])

    def save_answer(self, answer: dict[str, Any], *, by: User) -> None:
        self.state, self.answer, self.revision = self.State.SAVED, answer, self.revision + 1
        self.answered_by, self.answered_at = by, timezone.now()
        self.save(update_fields=["state", "answer", "revision", "answered_by", "answered_at"])

    def send(self) -> None:
        self.state, self.closed_at = self.State.SENT, timezone.now()
        self.save(update_fields=["state", "closed_at"])

    def close(self, state: State, *, reason: str) -> None:
        self.state, self.reason, self.closed_at = state, reason[:REASON_LENGTH], timezone.now()
        self.save(update_fields=["state", "reason", "closed_at"])


class MessageSeen(models.Model):
    """When a reader last looked at what a message asks."""

    message = models.ForeignKey(Message, on_delete=models.CASCADE, related_name="seen")
    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="+")
    at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["message", "user"], name="mailroom_seen_once_each")]

    def __str__(self) -> str:
        return f"{self.message} seen by {self.user}"

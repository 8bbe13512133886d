"""The thread of a booking, what may be sent by itself, and the outbox that mail leaves from."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.utils import timezone

from portal.bookings.models import Booking, Song
from portal.people.models import User


class MessageRule(models.Model):
    """What the house does when a finding needs the client: send at once, hold for the drummer, or never."""

    class When(models.TextChoices):
        AT_ONCE = "at-once", "send at once"
        HOLD = "hold", "hold for me"
        NEVER = "never", "never"

    code = models.CharField(max_length=40, unique=True)
    when = models.CharField(max_length=7, choices=When.choices)

    class Meta:
        ordering: ClassVar = ["code"]

    def __str__(self) -> str:
        return f"{self.code}: {self.when}"


class MessageQuerySet(models.QuerySet["Message"]):
    def visible_to(self, user: User) -> MessageQuerySet:
        if user.is_drummer:
            return self
        return self.filter(booking__members__user=user).exclude(state=Message.State.HELD)


class Message(models.Model):
    """One entry of a thread: HELD (only the drummer sees it) → SENT → ANSWERED, or WITHDRAWN when it is moot.

    `key` names what the message is about; it is unique, so the same thing is never said twice.
    """

    class State(models.TextChoices):
        HELD = "held", "held"
        SENT = "sent", "sent"
        ANSWERED = "answered", "answered"
        WITHDRAWN = "withdrawn", "withdrawn"

    booking = models.ForeignKey(Booking, on_delete=models.CASCADE, related_name="messages")
    song = models.ForeignKey(Song, null=True, blank=True, on_delete=models.CASCADE, related_name="messages")
    sender = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    key = models.CharField(max_length=120, unique=True)
    state = models.CharField(max_length=9, choices=State.choices, default=State.SENT)
    subject = models.CharField(max_length=160)
    body = models.TextField()
    # The one-tap answers on offer: [{"code": "make-map", "label": "There is no click: please make the map"}, ...]
    answers = models.JSONField(default=list, blank=True)
    answer = models.JSONField(null=True, blank=True)
    answered_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    created_at = models.DateTimeField(default=timezone.now)
    answered_at = models.DateTimeField(null=True, blank=True)

    objects: ClassVar[MessageQuerySet] = MessageQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["created_at", "pk"]

    def __str__(self) -> str:
        return self.subject

    @property
    def waits_for_answer(self) -> bool:
        return self.state == self.State.SENT and bool(self.answers)

    def take_answer(self, answer: dict[str, str], *, by: User) -> None:
        self.state, self.answer = self.State.ANSWERED, answer
        self.answered_by, self.answered_at = by, timezone.now()
        self.save(update_fields=["state", "answer", "answered_by", "answered_at"])

    def withdraw(self) -> None:
        self.state = self.State.WITHDRAWN
        self.save(update_fields=["state"])


class Mail(models.Model):
    """One letter in the outbox: QUEUED → SENT, or FAILED after too many tries. The row is the truth, not the queue.

    `key` is unique: a letter about the same thing to the same person exists once.
    """

    class State(models.TextChoices):
        QUEUED = "queued", "queued"
        SENT = "sent", "sent"
        FAILED = "failed", "failed"

    to = models.EmailField()
    subject = models.CharField(max_length=200)
    body = models.TextField()
    key = models.CharField(max_length=180, unique=True)
    message = models.ForeignKey(Message, null=True, blank=True, on_delete=models.CASCADE, related_name="mails")
    state = models.CharField(max_length=6, choices=State.choices, default=State.QUEUED)
    tries = models.PositiveSmallIntegerField(default=0)
    last_trouble = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    sent_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["-created_at", "-pk"]

    def __str__(self) -> str:
        return self.subject

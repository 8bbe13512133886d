"""The thread of a booking, what may be sent by itself, and the outbox that mail leaves from."""

from __future__ import annotations

from datetime import timedelta
from typing import ClassVar

from django.db import models
from django.utils import timezone

from portal.bookings.models import Booking, Song
from portal.folding import FoldedField, SearchedModel
from portal.people.models import User

# One claim outlasts the mail server's own time limit (30 s for connecting and for each answer) with room to spare.
CLAIM_LASTS = timedelta(minutes=5)
FIRST_WAIT, LONGEST_WAIT = timedelta(minutes=1), timedelta(hours=2)
MOST_TRIES = 12  # the last one comes about half a day after the first


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


class Message(SearchedModel):
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
    folded = FoldedField(of=["subject", "body"])
    # The one-tap answers on offer: [{"code": "make-map", "label": "There is no click: please make the map"}, ...]; with
    # "asks" (the unit, "bpm") the button has a field for a figure beside it, and the answer a "value".
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
        return self.state == self.State.SENT and bool(self.answers) and not self.booking.is_over

    @property
    def answer_in_words(self) -> str:
        """What was pressed, with the figure that was written beside it: "It is 112.5 bpm"."""
        if self.answer is None:
            return ""
        parts = (self.answer.get(part, "") for part in ("label", "value", "unit"))
        return " ".join(part.rstrip(" …") for part in parts if part)

    def take_answer(self, answer: dict[str, str], *, by: User) -> None:
        self.state, self.answer = self.State.ANSWERED, answer
        self.answered_by, self.answered_at = by, timezone.now()
        self.save(update_fields=["state", "answer", "answered_by", "answered_at"])

    def send(self) -> None:
        self.state, self.created_at = self.State.SENT, timezone.now()
        self.save(update_fields=["state", "created_at"])

    def withdraw(self) -> None:
        self.state = self.State.WITHDRAWN
        self.save(update_fields=["state"])


class MailQuerySet(models.QuerySet["Mail"]):
    def due(self) -> MailQuerySet:
        return self.filter(state=Mail.State.QUEUED, not_before__lte=timezone.now())

    def claim(self, mail_id: int) -> Mail | None:
        """Take an e-mail that is due, for as long as sending may last; None when another process has it.

        A process that dies while it holds the e-mail loses it to the next sweep after that time.
        """
        claimed = (
            self.due().filter(pk=mail_id).update(not_before=timezone.now() + CLAIM_LASTS, tries=models.F("tries") + 1)
        )
        return self.get(pk=mail_id) if claimed else None


class Mail(models.Model):
    """One e-mail in the outbox: QUEUED → SENT, or FAILED after too many tries. The row is the truth, not the queue.

    `key` is unique: an e-mail about the same thing to the same person exists once. `not_before` keeps an e-mail from
    being sent by two processes at once, and spaces the tries. A private e-mail holds a way into somebody's account: no
    page shows what it says, and once it is sent its text is forgotten here.
    """

    class State(models.TextChoices):
        QUEUED = "queued", "queued"
        SENT = "sent", "sent"
        FAILED = "failed", "failed"

    to = models.EmailField()
    subject = models.CharField(max_length=200)
    body = models.TextField()
    is_private = models.BooleanField(default=False)
    key = models.CharField(max_length=180, unique=True)
    message = models.ForeignKey(Message, null=True, blank=True, on_delete=models.CASCADE, related_name="mails")
    state = models.CharField(max_length=6, choices=State.choices, default=State.QUEUED)
    tries = models.PositiveSmallIntegerField(default=0)
    last_trouble = models.CharField(max_length=300, blank=True)
    not_before = models.DateTimeField(default=timezone.now)
    created_at = models.DateTimeField(default=timezone.now)
    sent_at = models.DateTimeField(null=True, blank=True)

    objects: ClassVar[MailQuerySet] = MailQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["-created_at", "-pk"]

    def __str__(self) -> str:
        return self.subject

    def mark_sent(self) -> None:
        self.state, self.sent_at, self.last_trouble = self.State.SENT, timezone.now(), ""
        if self.is_private:
            self.body = ""
        self.save(update_fields=["state", "sent_at", "last_trouble", "body"])

    def note_trouble(self, trouble: str, *, is_final: bool) -> None:
        """Wait twice as long after each try; after the last one, or when no further try can help, give up."""
        self.last_trouble = trouble[:300]
        self.not_before = timezone.now() + min(FIRST_WAIT * 2 ** (self.tries - 1), LONGEST_WAIT)
        if is_final or self.tries >= MOST_TRIES:
            self.state = self.State.FAILED
        self.save(update_fields=["last_trouble", "not_before", "state"])

    def queue_again(self) -> None:
        self.state, self.tries, self.not_before = self.State.QUEUED, 0, timezone.now()
        self.save(update_fields=["state", "tries", "not_before"])

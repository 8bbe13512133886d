"""The outbox that mail leaves from."""

from __future__ import annotations

from datetime import timedelta
from typing import ClassVar

from django.db import models
from django.utils import timezone

from portal.mailroom.links import without_ways_in
from portal.mailroom.models.threads import Message

# One claim outlasts the mail server's own time limit (30 s for connecting and for each answer) with room to spare.
CLAIM_LASTS = timedelta(minutes=5)
FIRST_WAIT, LONGEST_WAIT = timedelta(minutes=1), timedelta(hours=2)
MOST_TRIES = 12  # the last one comes about half a day after the first


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
    page shows what it says, and once it is sent its text is forgotten here; of an invitation the link alone.
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
        self.body = "" if self.is_private else without_ways_in(self.body)
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

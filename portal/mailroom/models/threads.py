"""The thread of a booking, and what may be sent by itself."""

from __future__ import annotations

from datetime import datetime
from typing import ClassVar

from django.db import models
from django.db.models.functions import Coalesce
from django.utils import timezone

from portal.bookings.models import Booking, Song
from portal.bookings.stages import OVER_STAGES, SongStage
from portal.folding import FoldedField, SearchedModel, SearchedQuerySet
from portal.people.models import User

# What the key of a freely written message begins with.
NOTE_PREFIX = "note:"


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


SAID_LAST_AT = Coalesce("changed_at", "created_at")


class MessageQuerySet(SearchedQuerySet["Message"]):
    def visible_to(self, user: User) -> MessageQuerySet:
        if user.is_drummer:
            return self
        return self.filter(booking__members__user=user).exclude(state=Message.State.HELD)

    def waiting(self) -> MessageQuerySet:
        """A question of theirs waits for the client."""
        return self.filter(state=Message.State.SENT, changed_at__isnull=False)

    def newest_first(self) -> MessageQuerySet:
        """By what was said last: a message that asks more comes anew."""
        return self.annotate(said_last_at=SAID_LAST_AT).order_by("-said_last_at", "-pk")

    def at_work(self) -> MessageQuerySet:
        """Nobody is written to about a booking that is over, or a song that was taken out of one."""
        return self.exclude(booking__stage__in=OVER_STAGES).exclude(song__stage=SongStage.TAKEN_OUT)


class Message(SearchedModel):
    """One entry of a thread. What people write is SENT, and stays so.

    The message that asks about a song (`changed_at` is set) is one as long as the song lives, and its questions come
    and go: HELD (only the drummer sees it) → SENT while a question waits → ANSWERED, or WITHDRAWN when nothing was
    answered; and SENT again when there is more to ask. `key` names what a message is about; it is unique, so the same
    thing is never said twice.
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
    # Before messages had questions, a message was one, with one answer: such old ones are read, never written.
    answers = models.JSONField(default=list, blank=True)
    answer = models.JSONField(null=True, blank=True)
    answered_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    answered_at = models.DateTimeField(null=True, blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    # When something was last asked in it; when the readers were last written to about it, and how often they were
    # after the first time.
    changed_at = models.DateTimeField(null=True, blank=True)
    mailed_at = models.DateTimeField(null=True, blank=True)
    digests = models.PositiveSmallIntegerField(default=0)

    objects: ClassVar[MessageQuerySet] = MessageQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["created_at", "pk"]

    def __str__(self) -> str:
        return self.subject

    @property
    def is_note(self) -> bool:
        """Whether somebody wrote it as a message, rather than did something that is told here."""
        return self.sender_id is not None and self.key.startswith(NOTE_PREFIX)

    @property
    def is_asking(self) -> bool:
        return self.changed_at is not None

    @property
    def said_at(self) -> datetime:
        return self.changed_at or self.created_at

    @property
    def has_asked_more(self) -> bool:
        return self.said_at > self.created_at

    @property
    def waits_for_answer(self) -> bool:
        return self.state == self.State.SENT and self.is_asking and not self.booking.is_over

    @property
    def answer_in_words(self) -> str:
        return answer_words(self.answer)

    def begin(self) -> None:
        """The first question goes out: the thread has it from now on."""
        self.created_at = self.changed_at = self.mailed_at = timezone.now()
        self.save(update_fields=["created_at", "changed_at", "mailed_at"])

    def change(self) -> None:
        self.changed_at = timezone.now()
        self.save(update_fields=["changed_at"])

    def be(self, state: State) -> None:
        self.state = state
        self.save(update_fields=["state"])

    def say(self, *, subject: str, body: str) -> None:
        self.subject, self.body = subject, body
        self.save(update_fields=["subject", "body"])

    def note_digest(self) -> None:
        self.mailed_at, self.digests = timezone.now(), self.digests + 1
        self.save(update_fields=["mailed_at", "digests"])


def answer_words(answer: dict[str, str] | None) -> str:
    """What was pressed, with the figure that was written beside it: "It is 112.5 bpm"."""
    if answer is None:
        return ""
    parts = (answer.get(part, "") for part in ("label", "value", "unit"))
    return " ".join(part.rstrip(" …") for part in parts if part)

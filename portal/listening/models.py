"""What the client was played, and what they said to it."""

from __future__ import annotations

from typing import Any, ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.urls import reverse
from django.utils import timezone

from portal.bookings.models import Song
from portal.people.models import User

BARS = 8
MOST_BARS = 9999


class ExcerptQuerySet(models.QuerySet["Excerpt"]):
    def visible_to(self, user: User) -> ExcerptQuerySet:
        if user.is_drummer:
            return self
        return self.filter(song__booking__members__user=user).exclude(state__in=Excerpt.NOT_YET_OUT)


class Excerpt(models.Model):
    """Eight bars with the click of one map: MAKING → OUT (the client may hear it) → ANSWERED; or FAILED; or WITHDRAWN.

    `taps_s` are the client's taps on the one, in seconds of the song.
    """

    class State(models.TextChoices):
        MAKING = "making", "being made"
        FAILED = "failed", "could not be made"
        OUT = "out", "with the client"
        ANSWERED = "answered", "answered"
        WITHDRAWN = "withdrawn", "no longer needed"

    class Answer(models.TextChoices):
        RIGHT = "right", "Yes, this is right"
        TWICE = "twice", "It should click twice as fast"
        HALF = "half", "It should click half as fast"
        ELSEWHERE = "elsewhere", "The tempo is right, but beat one is elsewhere"
        OTHER = "other", "Something else"

    NOT_YET_OUT = (State.MAKING, State.FAILED)

    song = models.ForeignKey(Song, on_delete=models.CASCADE, related_name="excerpts")
    asked_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField(default=timezone.now)
    map = models.JSONField()
    first_bar = models.PositiveSmallIntegerField(validators=[MinValueValidator(1), MaxValueValidator(MOST_BARS)])
    bars = models.PositiveSmallIntegerField(default=BARS)
    note = models.TextField(blank=True, max_length=2000)
    state = models.CharField(max_length=9, choices=State.choices, default=State.MAKING)
    trouble = models.CharField(max_length=300, blank=True)
    key = models.CharField(max_length=160, blank=True)
    starts_at_s = models.FloatField(default=0.0)
    answer = models.CharField(max_length=9, choices=Answer.choices, blank=True)
    words = models.TextField(blank=True, max_length=2000)
    taps_s: models.JSONField[Any, Any] = models.JSONField(default=list, blank=True)
    answered_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    answered_at = models.DateTimeField(null=True, blank=True)

    objects: ClassVar[ExcerptQuerySet] = ExcerptQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["-asked_at", "-pk"]

    def __str__(self) -> str:
        return f"bars {self.first_bar} to {self.last_bar} of {self.song}"

    def get_absolute_url(self) -> str:
        return reverse("listening:excerpt", args=[self.pk])

    @property
    def last_bar(self) -> int:
        return self.first_bar + self.bars - 1

    @property
    def waits_for_answer(self) -> bool:
        return self.state == self.State.OUT and not self.song.booking.is_over

    def go_out(self, *, key: str, starts_at_s: float) -> None:
        self.state, self.key, self.starts_at_s = self.State.OUT, key, starts_at_s
        self.save(update_fields=["state", "key", "starts_at_s"])

    def fail(self, *, trouble: str) -> None:
        self.state, self.trouble = self.State.FAILED, trouble[:300]
        self.save(update_fields=["state", "trouble"])

    def lose_sound(self) -> None:
        self.key = ""
        self.save(update_fields=["key"])

    def withdraw(self) -> None:
        self.state = self.State.WITHDRAWN
        self.save(update_fields=["state"])

    def take_answer(self, answer: str, *, words: str, taps_s: list[float], by: User) -> None:
        self.state, self.answer, self.words, self.taps_s = self.State.ANSWERED, answer, words, taps_s
        self.answered_by, self.answered_at = by, timezone.now()
        self.save(update_fields=["state", "answer", "words", "taps_s", "answered_by", "answered_at"])

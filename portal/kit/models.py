"""What is written down at the kit: takes, and each drummer's headphone balance of a song."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import ClassVar

from django.db import models
from django.utils import timezone

from portal.bookings.models import Song
from portal.people.models import User

LONGEST_WORD = 80
LONGEST_SECTION = 80
HIGHEST_NUMBER = 9_999


class TakeLogQuerySet(models.QuerySet["TakeLog"]):
    def visible_to(self, user: User) -> TakeLogQuerySet:
        """The drummer's own notes: clients have none."""
        return self if user.is_drummer else self.none()

    def standing(self) -> TakeLogQuerySet:
        return self.filter(is_undone=False)


class TakeLog(models.Model):
    """One take as the drummer logged it, perhaps without a network: LOGGED, changed by later revisions, perhaps UNDONE.

    The device makes the key, so that a take sent twice is one; `revision` counts its changes there, so that an older
    one that arrives late changes nothing. `logged_at` is the device's clock, `made_at` ours.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4)
    song = models.ForeignKey(Song, on_delete=models.CASCADE, related_name="take_logs")
    by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    number = models.PositiveSmallIntegerField()
    is_kept = models.BooleanField(default=False)
    word = models.CharField(max_length=LONGEST_WORD, blank=True)
    # Where it began, by the form of that moment, and how fast it was played.
    section = models.CharField(max_length=LONGEST_SECTION, blank=True)
    speed_percent = models.PositiveSmallIntegerField(default=100)
    is_undone = models.BooleanField(default=False)
    revision = models.PositiveIntegerField(default=1)
    logged_at = models.DateTimeField()
    made_at = models.DateTimeField(default=timezone.now)

    objects: ClassVar[TakeLogQuerySet] = TakeLogQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["logged_at", "number", "made_at"]
        indexes: ClassVar = [models.Index(fields=["song", "logged_at"], name="kit_takes_of_song")]

    def __str__(self) -> str:
        return f"take {self.number} of {self.song}"

    @property
    def played_words(self) -> str:
        """Where it began and how fast it was: "from B, 80 %"; empty for one that was logged by hand."""
        speed = "" if self.speed_percent == 100 else f"{self.speed_percent} %"
        return ", ".join(filter(None, [self.section and f"from {self.section}", speed]))

    def change(self, *, number: int, is_kept: bool, word: str, is_undone: bool, revision: int) -> None:
        self.number, self.is_kept, self.word = number, is_kept, word
        self.is_undone, self.revision = is_undone, revision
        self.save(update_fields=["number", "is_kept", "word", "is_undone", "revision"])


class Balance(models.Model):
    """A drummer's headphone balance of one song: levels in dB by part (`portal.kit.levels` says which)."""

    song = models.ForeignKey(Song, on_delete=models.CASCADE, related_name="balances")
    drummer = models.ForeignKey(User, on_delete=models.CASCADE, related_name="balances")
    levels = models.JSONField(default=dict, blank=True)
    changed_at = models.DateTimeField()

    class Meta:
        constraints: ClassVar = [models.UniqueConstraint(fields=["song", "drummer"], name="kit_one_balance_each")]

    def __str__(self) -> str:
        return f"balance of {self.song} for {self.drummer}"

    def take(self, levels: dict[str, object], *, changed_at: datetime) -> None:
        self.levels, self.changed_at = levels, changed_at
        self.save(update_fields=["levels", "changed_at"])

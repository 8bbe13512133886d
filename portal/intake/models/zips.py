"""Zips of files, as they were sent."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.utils import timezone

from portal.bookings.models import Song
from portal.people.models import User

REFUSAL_LENGTH = 300


class SentZipQuerySet(models.QuerySet["SentZip"]):
    def visible_to(self, user: User) -> SentZipQuerySet:
        return self if user.is_drummer else self.filter(song__booking__members__user=user)

    def waiting(self) -> SentZipQuerySet:
        return self.filter(state=SentZip.State.RECEIVED)


class SentZip(models.Model):
    """A zip as the client sent it: RECEIVED → UNPACKED (its files are source files) or REFUSED (`refusal` says why).

    `notes` holds a sentence for everything in it that did not become a file, or not under its own name.
    """

    class State(models.TextChoices):
        RECEIVED = "received", "received"
        UNPACKED = "unpacked", "unpacked"
        REFUSED = "refused", "refused"

    song = models.ForeignKey(Song, on_delete=models.CASCADE, related_name="zips")
    sent_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=255)
    sha256 = models.CharField(max_length=64)
    key = models.CharField(max_length=120)
    size_bytes = models.PositiveBigIntegerField()
    state = models.CharField(max_length=8, choices=State.choices, default=State.RECEIVED)
    refusal = models.CharField(max_length=REFUSAL_LENGTH, blank=True)
    notes = models.JSONField(default=list, blank=True)
    received_at = models.DateTimeField(default=timezone.now)
    # How often unpacking began, and when the last did: a worker that is killed leaves no other trace.
    tries = models.PositiveSmallIntegerField(default=0)
    began_at = models.DateTimeField(null=True, blank=True)
    gone_at = models.DateTimeField(null=True, blank=True)

    objects: ClassVar[SentZipQuerySet] = SentZipQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["pk"]

    def __str__(self) -> str:
        return self.name

    @property
    def short_hash(self) -> str:
        return self.sha256[:12]

    def begin(self) -> None:
        self.tries, self.began_at = self.tries + 1, timezone.now()
        self.save(update_fields=["tries", "began_at"])

    def wait(self) -> None:
        """There was no room: that is not its fault, and does not count."""
        self.tries -= 1
        self.save(update_fields=["tries"])

    def finish(self, notes: list[str]) -> None:
        self.state, self.notes = self.State.UNPACKED, notes
        self.save(update_fields=["state", "notes"])

    def refuse(self, reason: str, notes: list[str]) -> None:
        self.state, self.refusal, self.notes = self.State.REFUSED, reason[:REFUSAL_LENGTH], notes
        self.save(update_fields=["state", "refusal", "notes"])

    def be_gone(self) -> None:
        self.gone_at = timezone.now()
        self.save(update_fields=["gone_at"])

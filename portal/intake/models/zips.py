"""Zips of files, as they were sent."""

from __future__ import annotations

from datetime import timedelta
from typing import ClassVar

from django.db import models
from django.utils import timezone

from portal.bookings.models import Song
from portal.people.models import User

REFUSAL_LENGTH = 300
# What has given no sign of life for so long died with its worker: one that only takes long gives some (`alive`).
CLAIM_LASTS = timedelta(minutes=2)


class SentZipQuerySet(models.QuerySet["SentZip"]):
    def visible_to(self, user: User) -> SentZipQuerySet:
        return self if user.is_drummer else self.filter(song__booking__members__user=user)

    def waiting(self) -> SentZipQuerySet:
        return self.filter(state=SentZip.State.RECEIVED)

    def unclaimed(self) -> SentZipQuerySet:
        lapsed = models.Q(began_at=None) | models.Q(began_at__lt=timezone.now() - CLAIM_LASTS)
        return self.waiting().filter(lapsed)

    def claim(self, zip_id: int) -> SentZip | None:
        """As a file is claimed for its survey."""
        claimed = self.unclaimed().filter(pk=zip_id).update(tries=models.F("tries") + 1, began_at=timezone.now())
        return self.select_related("song__booking").get(pk=zip_id) if claimed else None


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

    def go_on(self) -> None:
        """It is being unpacked still."""
        self.began_at = timezone.now()
        self.save(update_fields=["began_at"])

    def let_go(self) -> None:
        self.began_at = None
        self.save(update_fields=["began_at"])

    def wait(self) -> None:
        """There was no room: that is not its fault, and does not count. It is tried again when its claim has lapsed."""
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

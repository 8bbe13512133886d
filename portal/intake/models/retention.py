"""How long the originals of a booking that is over stay in the store."""

from __future__ import annotations

from datetime import datetime
from typing import ClassVar

from django.db import models
from django.utils import timezone

from portal.bookings.models import Booking
from portal.people.models import User


class Keeping(models.Model):
    """KEPT until `until` → NOTICED (both sides have a letter that says when) → REMOVED.

    While the client has asked to keep them, nothing is removed: the drummer extends, or lets them go, which begins
    with a new notice.
    """

    booking = models.OneToOneField(Booking, on_delete=models.CASCADE, related_name="keeping")
    until = models.DateTimeField()
    # Counts the notices: each has letters of its own.
    notices = models.PositiveSmallIntegerField(default=0)
    noticed_at = models.DateTimeField(null=True, blank=True)
    asked_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    asked_at = models.DateTimeField(null=True, blank=True)
    removed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["pk"]

    def __str__(self) -> str:
        return f"keeping of {self.booking}"

    @property
    def is_asked_for(self) -> bool:
        return self.asked_at is not None

    def notice(self, *, until: datetime) -> None:
        self.until, self.noticed_at, self.notices = until, timezone.now(), self.notices + 1
        self.save(update_fields=["until", "noticed_at", "notices"])

    def ask_to_keep(self, by: User) -> None:
        self.asked_by, self.asked_at = by, timezone.now()
        self.save(update_fields=["asked_by", "asked_at"])

    def set_until(self, until: datetime) -> None:
        """Decided again: what was said before no longer counts, and the next removal has a notice of its own."""
        self.until, self.noticed_at, self.asked_by, self.asked_at = until, None, None, None
        self.save(update_fields=["until", "noticed_at", "asked_by", "asked_at"])

    def remove(self) -> None:
        self.removed_at = timezone.now()
        self.save(update_fields=["removed_at"])

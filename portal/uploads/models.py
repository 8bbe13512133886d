"""Files on their way in. What they are for is the receiver's business, not ours."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.db import models
from django.utils import timezone

from portal.bookings.models import Booking
from portal.people.models import User

PARTIAL = "partial"


class Upload(models.Model):
    """One file arriving: OPEN (bytes come in) → RECEIVED (stored, hash re-read, handed on) or REFUSED (`refusal` says
    why) or EXPIRED. `purpose` names the receiver and `target_id` the row that it receives for.

    A file may come as several partial uploads side by side. They stay OPEN until a final upload, whose `parts` they
    are, has joined them: then they are JOINED.
    """

    class State(models.TextChoices):
        OPEN = "open", "open"
        RECEIVED = "received", "received"
        REFUSED = "refused", "refused"
        EXPIRED = "expired", "expired"
        JOINED = "joined", "joined"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    owner = models.ForeignKey(User, on_delete=models.CASCADE, related_name="uploads")
    # Whose limit the bytes count against; none for a partial upload that does not say what it is for.
    booking = models.ForeignKey(Booking, on_delete=models.CASCADE, null=True, related_name="uploads")
    purpose = models.CharField(max_length=20, blank=True)
    target_id = models.PositiveBigIntegerField(default=0)
    file_name = models.CharField(max_length=255)
    concat = models.TextField(blank=True)
    parts = models.JSONField(default=list)
    metadata = models.TextField(blank=True)
    length_bytes = models.PositiveBigIntegerField()
    offset_bytes = models.PositiveBigIntegerField(default=0)
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN)
    refusal = models.CharField(max_length=300, blank=True)
    multipart_id = models.TextField(blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    key = models.CharField(max_length=120, blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    touched_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=models.Q(offset_bytes__lte=models.F("length_bytes")), name="uploads_offset_within_length"
            )
        ]
        indexes: ClassVar = [models.Index(fields=["state", "touched_at"], name="uploads_state_touched")]

    def __str__(self) -> str:
        return str(self.pk)

    @property
    def is_partial(self) -> bool:
        return self.concat == PARTIAL

    @property
    def is_final(self) -> bool:
        return bool(self.parts)

    @property
    def is_finishable(self) -> bool:
        """All its bytes are here, in its own part or in those that it joins, and they are a whole file."""
        is_complete = self.offset_bytes == self.length_bytes or self.is_final
        return self.state == self.State.OPEN and is_complete and not self.is_partial

    def advance_to(self, offset_bytes: int) -> None:
        self.offset_bytes, self.touched_at = offset_bytes, timezone.now()
        self.save(update_fields=["offset_bytes", "touched_at"])

    def note_content(self, *, sha256: str, key: str) -> None:
        """Written down before the bytes move under `key`: whoever goes on after a kill knows where to look."""
        self.sha256, self.key = sha256, key
        self.save(update_fields=["sha256", "key"])

    def note_multipart(self, multipart_id: str) -> None:
        self.multipart_id = multipart_id
        self.save(update_fields=["multipart_id"])

    def receive(self) -> None:
        self.state = self.State.RECEIVED
        self.save(update_fields=["state"])

    def expire(self) -> None:
        self.state = self.State.EXPIRED
        self.save(update_fields=["state"])

    def refuse(self, *, reason: str) -> None:
        self.state, self.refusal = self.State.REFUSED, reason
        self.save(update_fields=["state", "refusal"])

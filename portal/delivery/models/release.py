"""Who may take a released set without an account, and who took what of it."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.utils import timezone

from portal.delivery.models.sets import Delivery, DeliveryFile
from portal.people.models import User


class ShareLink(models.Model):
    """A link that opens one released set to whoever has it: OPEN until `expires_at`, or WITHDRAWN.

    The link itself is not stored: it is the row's key, signed (`portal.delivery.links`).
    """

    delivery = models.ForeignKey(Delivery, on_delete=models.CASCADE, related_name="share_links")
    made_for = models.CharField(max_length=80)
    made_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering: ClassVar = ["-pk"]

    def __str__(self) -> str:
        return f"link for {self.made_for}"

    @property
    def is_open(self) -> bool:
        return self.withdrawn_at is None and timezone.now() < self.expires_at

    def withdraw(self, *, by: User) -> None:
        self.withdrawn_at, self.withdrawn_by = timezone.now(), by
        self.save(update_fields=["withdrawn_at", "withdrawn_by"])


class Receipt(models.Model):
    """What one person, or one link, took of a set: a file, the whole as a zip, or what changed as a zip.

    `parts` are the stretches of bytes that were sent, merged: what was broken off and resumed becomes whole, and what
    was only begun never does. Nobody knows what arrived. `counted` is False where another server sends the bytes.
    """

    class What(models.TextChoices):
        FILE = "file", "a file"
        ZIP = "zip", "everything as one zip"
        CHANGES = "changes", "what changed as one zip"

    delivery = models.ForeignKey(Delivery, on_delete=models.CASCADE, related_name="receipts")
    what = models.CharField(max_length=7, choices=What.choices)
    file = models.ForeignKey(DeliveryFile, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    user = models.ForeignKey(User, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    link = models.ForeignKey(ShareLink, null=True, blank=True, on_delete=models.CASCADE, related_name="receipts")
    # The state of the content that was taken: a zip made anew is another one.
    etag = models.CharField(max_length=40)
    length_bytes = models.PositiveBigIntegerField()
    parts: models.JSONField[list[list[int]], list[list[int]]] = models.JSONField(default=list)
    counted = models.BooleanField(default=True)
    began_at = models.DateTimeField(default=timezone.now)
    completed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["began_at", "pk"]
        indexes: ClassVar = [models.Index(fields=["delivery", "what", "etag"], name="delivery_receipt_of")]

    def __str__(self) -> str:
        return f"{self.what} of {self.delivery}"

    @property
    def sent_bytes(self) -> int:
        return sum(stop - start for start, stop in self.parts)

    @property
    def is_sent_whole(self) -> bool:
        return self.completed_at is not None

    def take(self, parts: list[list[int]]) -> None:
        self.parts = parts
        if self.completed_at is None and self.sent_bytes >= self.length_bytes:
            self.completed_at = timezone.now()
        self.save(update_fields=["parts", "completed_at"])

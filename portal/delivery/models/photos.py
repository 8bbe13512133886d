"""Photographs of the kit as it stood for a delivery."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.utils import timezone

from portal.delivery.models.sets import Delivery
from portal.people.models import User


class KitPhotoQuerySet(models.QuerySet["KitPhoto"]):
    def visible_to(self, user: User) -> KitPhotoQuerySet:
        """With the delivery that it belongs to."""
        return self.filter(delivery__in=Delivery.objects.visible_to(user))


class KitPhoto(models.Model):
    """A photograph as it was written anew: its points and nothing else of the file that was sent."""

    delivery = models.ForeignKey(Delivery, on_delete=models.CASCADE, related_name="photos")
    key = models.CharField(max_length=160)
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveIntegerField()
    # What a zip's directory says of it (ISO 3309).
    crc32 = models.PositiveBigIntegerField()
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    sent_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    sent_at = models.DateTimeField(default=timezone.now)

    objects: ClassVar[KitPhotoQuerySet] = KitPhotoQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["pk"]

    def __str__(self) -> str:
        return f"photograph of {self.delivery}"

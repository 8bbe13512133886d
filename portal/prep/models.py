"""Files made from an approved tempo map, for the drummer's own session."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.utils import timezone

from portal.intake.models import ApprovedMap
from portal.people.models import User


class PreparedFileQuerySet(models.QuerySet["PreparedFile"]):
    def visible_to(self, user: User) -> PreparedFileQuerySet:
        return self if user.is_drummer else self.filter(approved_map__song__booking__members__user=user)


class PreparedFile(models.Model):
    """A click or tempo-map file made from one approved map. Made again it is the same file.

    `facts` says how: bars, count-in, sample rate, peak, and by how much the click starts before the client's files.
    """

    class Kind(models.TextChoices):
        CLICK = "click", "click with its count-in"
        WITH_FILES = "with-files", "click that starts with the client’s files"
        TEMPO_MAP = "tempo-map", "tempo map (MIDI)"

    approved_map = models.ForeignKey(ApprovedMap, on_delete=models.CASCADE, related_name="prepared")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    name = models.CharField(max_length=255)
    key = models.CharField(max_length=160)
    size_bytes = models.PositiveBigIntegerField()
    facts = models.JSONField(default=dict, blank=True)
    made_at = models.DateTimeField(default=timezone.now)

    objects: ClassVar[PreparedFileQuerySet] = PreparedFileQuerySet.as_manager()  # type: ignore[assignment]

    class Meta:
        ordering: ClassVar = ["kind"]
        constraints: ClassVar = [models.UniqueConstraint(fields=["approved_map", "kind"], name="prep_one_of_a_kind")]

    def __str__(self) -> str:
        return self.name

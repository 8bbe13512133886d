"""Corrected sets that a drummer asked for."""

from __future__ import annotations

from typing import Any, ClassVar

from django.db import models
from django.utils import timezone

from portal.delivery.models.sets import Delivery
from portal.making import MadeByWorker
from portal.people.models import User


class SetRepair(MadeByWorker):
    """One press: MAKING → MADE (the corrected files have taken their places), or FAILED (`trouble` says why).

    `files` names the files that it is made of: keys and hashes. `repair` is what the engine does with them
    (`analysis.handover.Repair`), `renamed` the new names by the old. `made` holds by a file's key what stands in the
    store already, so that a worker that was killed is followed by one that goes on there.
    """

    class State(models.TextChoices):
        MAKING = "making", "being made"
        MADE = "made", "made"
        FAILED = "failed", "not made"

    delivery = models.ForeignKey(Delivery, on_delete=models.CASCADE, related_name="repairs")
    files: models.JSONField[list[list[Any]], list[list[Any]]] = models.JSONField()
    repair: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField()
    renamed: models.JSONField[dict[str, str], dict[str, str]] = models.JSONField(default=dict)
    made: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField(default=dict)
    state = models.CharField(max_length=6, choices=State.choices, default=State.MAKING)
    asked_by = models.ForeignKey(User, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField(default=timezone.now)
    made_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["delivery"], condition=models.Q(state="making"), name="delivery_one_repair_at_a_time"
            )
        ]

    def __str__(self) -> str:
        return f"repair of {self.delivery}"

    def add(self, file_id: int, made: dict[str, Any]) -> None:
        """One more file stands in the store: what follows is a new attempt at the next one."""
        self.made, self.tries = self.made | {str(file_id): made}, 1
        self.save(update_fields=["made", "tries"])

    def finish(self) -> None:
        self.state, self.made_at = self.State.MADE, timezone.now()
        self.save(update_fields=["state", "made_at"])

"""What a worker makes, as its row keeps it: a killed worker leaves no other trace than its last sign of life."""

from __future__ import annotations

from django.db import models
from django.utils import timezone

FAILED = "failed"
TROUBLE_LENGTH = 300


class MadeByWorker(models.Model):
    """A model of it has a `state`: as long as that is its default it is to be made. Where it is FAILED, `trouble` says
    why."""

    # Each has its own states.
    state = models.CharField(max_length=9)
    trouble = models.CharField(max_length=TROUBLE_LENGTH, blank=True)
    # How often making began, and its last sign of life.
    tries = models.PositiveSmallIntegerField(default=0)
    began_at = models.DateTimeField(default=timezone.now)

    class Meta:
        abstract = True

    @classmethod
    def state_when_due(cls) -> str:
        return cls().state

    @property
    def is_due(self) -> bool:
        return self.state == self.state_when_due()

    def begin(self) -> None:
        self.tries, self.began_at = self.tries + 1, timezone.now()
        self.save(update_fields=["tries", "began_at"])

    def go_on(self) -> None:
        """It is being made still. By itself, since this comes from beside the work."""
        type(self)._base_manager.filter(pk=self.pk).update(began_at=timezone.now())

    def fail(self, trouble: str) -> None:
        self.state, self.trouble = FAILED, trouble[:TROUBLE_LENGTH]
        self.save(update_fields=["state", "trouble"])

"""What a worker makes, as its row keeps it: a killed worker leaves no other trace than its last sign of life.

It is made by one worker at a time, again after one that was killed, and not for ever.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import timedelta
from typing import TypeVar

from django.db import models
from django.utils import timezone

from portal.heartbeat import alive
from portal.uploads import parts
from portal.uploads.errors import UploadBusyError

FAILED = "failed"
TROUBLE_LENGTH = 300
# After so long without a sign of life.
LEFT_AFTER = timedelta(minutes=2)
MOST_TRIES = 3

logger = logging.getLogger(__name__)


class MadeByWorker(models.Model):
    """A model of it has a `state`, whose default means that it is to be made. With FAILED, `trouble` says why."""

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


M = TypeVar("M", bound=MadeByWorker)


def make_once(rows: models.QuerySet[M], pk: int, make: Callable[[M], object], *, stopped: str) -> None:
    """Make the one of `rows` that has this key, if it is to be made still. `stopped` is said to people when workers
    were killed over it MOST_TRIES times."""
    name = f"{rows.model._meta.model_name}-{pk}"
    try:
        with parts.locked(name):
            row = rows.filter(pk=pk).first()
            if row is None or not row.is_due:
                return
            if row.tries >= MOST_TRIES:
                row.fail(stopped)
                return
            row.begin()
            with alive(row.go_on):
                make(row)
    except UploadBusyError:
        logger.info("%s is being made already", name)


def left_alone(rows: models.QuerySet[M]) -> list[int]:
    """Those of them that nobody gives a sign of making."""
    left = rows.filter(state=rows.model.state_when_due(), began_at__lt=timezone.now() - LEFT_AFTER)
    return list(left.values_list("pk", flat=True))

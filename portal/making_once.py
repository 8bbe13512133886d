"""How a worker makes what a row asks for: one worker at a time, again after one that was killed, and not for ever."""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import timedelta
from typing import TypeVar

from django.db import models
from django.utils import timezone

from portal.heartbeat import alive
from portal.making import MadeByWorker
from portal.uploads import parts
from portal.uploads.errors import UploadBusyError

# After so long without a sign of life.
LEFT_AFTER = timedelta(minutes=2)
MOST_TRIES = 3

logger = logging.getLogger(__name__)

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

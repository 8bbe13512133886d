"""Copies in the queue."""

from __future__ import annotations

from celery import shared_task

from portal.lanes import jobs
from portal.queueing import queue_left


@shared_task(acks_late=True, autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def make_copy(source_id: int) -> None:
    """Safe to run twice."""
    jobs.make_copy(source_id)


@shared_task
def sweep() -> None:
    """Queue what was never queued or was lost, and clear away what is no longer needed. Safe to run twice."""
    queue_left("portal.lanes.tasks.make_copy", jobs.left_alone())
    jobs.clear_gone()

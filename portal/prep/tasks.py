"""Prepared files in the queue."""

from __future__ import annotations

from celery import shared_task

from portal.prep import jobs
from portal.queueing import queue_left


@shared_task(acks_late=True, autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def make_files(approved_map_id: int) -> None:
    """Safe to run twice: the same map makes the same files."""
    jobs.make_files(approved_map_id)


@shared_task
def sweep() -> None:
    """Queue what was never queued, or whose job was lost. Safe to run twice."""
    queue_left("portal.prep.tasks.make_files", jobs.left_alone())

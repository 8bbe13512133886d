"""Excerpts in the queue."""

from __future__ import annotations

from celery import shared_task

from portal.listening import jobs
from portal.queueing import queue_left


@shared_task(acks_late=True, autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def make_excerpt(excerpt_id: int) -> None:
    """Safe to run twice: it goes out once."""
    jobs.make_excerpt(excerpt_id)


@shared_task
def sweep() -> None:
    """Queue what was never queued, or whose job was lost. Safe to run twice."""
    queue_left("portal.listening.tasks.make_excerpt", jobs.left_alone())
    jobs.clear_gone()

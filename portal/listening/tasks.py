"""Excerpts in the queue."""

from __future__ import annotations

from celery import shared_task

from portal.listening import jobs


@shared_task(acks_late=True, autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def make_excerpt(excerpt_id: int) -> None:
    """Safe to run twice: it goes out once."""
    jobs.make_excerpt(excerpt_id)


@shared_task
def sweep() -> None:
    """Queue what was never queued, or whose job was lost. Safe to run twice."""
    for excerpt_id in jobs.left_alone():
        make_excerpt.delay(excerpt_id)
    jobs.clear_gone()

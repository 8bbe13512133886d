"""Drafting and engraving charts in the queue."""

from __future__ import annotations

from celery import shared_task

from portal.charts import jobs
from portal.queueing import queue_left


@shared_task(acks_late=True, autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def make_draft(draft_id: int) -> None:
    """Safe to run twice: a draft that is made stays as it is."""
    jobs.make_draft(draft_id)


@shared_task(acks_late=True, autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def engrave(version_id: int) -> None:
    """Safe to run twice: the same chart gives the same pages."""
    jobs.engrave_version(version_id)


@shared_task
def sweep() -> None:
    """Queue what was never queued, or whose job was lost. Safe to run twice."""
    queue_left("portal.charts.tasks.make_draft", jobs.drafts_left_alone())
    queue_left("portal.charts.tasks.engrave", jobs.versions_left_alone())

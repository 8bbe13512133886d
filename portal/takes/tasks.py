"""Rough mixes in the queue."""

from __future__ import annotations

from celery import shared_task

from portal.queueing import queue_left
from portal.takes import jobs


@shared_task(acks_late=True, autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def survey_rough_mix(rough_mix_id: int) -> None:
    """Safe to run twice: a mix that was surveyed is left alone."""
    jobs.survey(rough_mix_id)


@shared_task
def sweep() -> None:
    """Queue what was never queued, or whose job was lost. Safe to run twice: a second survey changes nothing."""
    queue_left("portal.takes.tasks.survey_rough_mix", jobs.left_alone())

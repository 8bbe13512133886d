"""Delivery checks in the queue."""

from __future__ import annotations

from celery import shared_task

from portal.delivery import jobs
from portal.delivery.repairs import jobs as repair_jobs
from portal.queueing import queue_left


@shared_task(acks_late=True, autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def check_delivery(delivery_id: int) -> None:
    """Safe to run twice: the same set gives the same checks, and a changed set drops them."""
    jobs.check(delivery_id)


@shared_task(acks_late=True, autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def make_repair(repair_id: int) -> None:
    """Safe to run twice: it goes on with the file that is next."""
    repair_jobs.make_repair(repair_id)


@shared_task
def sweep() -> None:
    """Queue what was never queued, or whose job was lost. Safe to run twice."""
    queue_left("portal.delivery.tasks.check_delivery", jobs.left_alone())
    queue_left("portal.delivery.tasks.make_repair", repair_jobs.repairs_left_alone())

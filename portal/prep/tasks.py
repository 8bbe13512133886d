"""Prepared files and session packs in the queue."""

from __future__ import annotations

from celery import shared_task

from portal.prep import jobs, pack_jobs
from portal.queueing import for_each_row, queue_left
from portal.uploads.errors import UploadBusyError


@shared_task(acks_late=True, autoretry_for=(OSError, UploadBusyError), retry_backoff=True, max_retries=3)
def make_files(approved_map_id: int) -> None:
    """Safe to run twice: the same map makes the same files."""
    jobs.make_files(approved_map_id)


@shared_task(acks_late=True, autoretry_for=(OSError, UploadBusyError), retry_backoff=True, max_retries=3)
def make_tempo_map(approved_map_id: int) -> None:
    """Safe to run twice: the same map and chart make the same file."""
    jobs.make_tempo_map_anew(approved_map_id)


@shared_task(acks_late=True, autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def make_pack(pack_id: int) -> None:
    """Safe to run twice: it goes on with the file that is next."""
    pack_jobs.make_pack(pack_id)


@shared_task
def sweep() -> None:
    """Queue what was never queued, or whose job was lost, and clear away what is old. Safe to run twice."""
    queue_left("portal.prep.tasks.make_files", jobs.left_alone())
    queue_left("portal.prep.tasks.make_tempo_map", jobs.tempo_maps_left_alone())
    queue_left("portal.prep.tasks.make_pack", pack_jobs.packs_left_alone())
    for_each_row(pack_jobs.old_packs(), pack_jobs.clear, what="session pack")

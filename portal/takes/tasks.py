"""Rough mixes in the queue."""

from __future__ import annotations

from celery import shared_task

from portal.queueing import queue_left
from portal.takes import jobs, music, placing


@shared_task(acks_late=True, autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def survey_rough_mix(rough_mix_id: int) -> None:
    """Safe to run twice: a mix that was surveyed is left alone."""
    jobs.survey(rough_mix_id)


@shared_task(acks_late=True, autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def place_rough_mix(rough_mix_id: int) -> None:
    """Safe to run twice: what is placed by what is known now is left alone."""
    placing.place(rough_mix_id)


@shared_task(acks_late=True, autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def make_music(copy_id: int) -> None:
    """Safe to run twice: what is made is left alone."""
    music.make_music(copy_id)


@shared_task
def sweep() -> None:
    """Queue what was never queued, or whose job was lost. Safe to run twice: a second survey changes nothing."""
    queue_left("portal.takes.tasks.survey_rough_mix", jobs.left_alone())
    queue_left("portal.takes.tasks.place_rough_mix", placing.left_alone())
    queue_left("portal.takes.tasks.make_music", music.music_left_alone())
    music.clear_gone()

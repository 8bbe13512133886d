"""Each is safe to run twice: the rows say what is still to be done."""

from typing import Any

from celery import shared_task
from celery.signals import worker_ready
from django.conf import settings
from django.db import connections

from portal.intake.checks import answering, jobs
from portal.intake.retention import jobs as retention_jobs
from portal.intake.zips import unpacking
from portal.job_folders import clear_left_folders


@worker_ready.connect
def take_up_what_was_left(sender: Any, **_: Any) -> None:
    """Before its first job. Where no other worker can be at one, what is claimed was claimed by one that died."""
    if settings.SOLE_WORKER:
        served = sender.app.amqp.queues.consume_from
        jobs.let_go_all(files="files" in served, zips="unpacking" in served)
        connections.close_all()


@shared_task(autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def survey_file(source_id: int) -> None:  # noqa: ARG001
    """A turn for the file that is due: not always the one whose arrival queued it."""
    jobs.survey_next()


@shared_task(autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def measure_song(song_id: int) -> None:
    jobs.measure(song_id)


@shared_task(autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def unpack_zip(zip_id: int) -> None:  # noqa: ARG001
    """A turn, like a file's."""
    unpacking.unpack_next()


@shared_task
def send_answers(message_id: int) -> None:
    answering.send_left(message_id)


@shared_task
def sweep() -> None:
    jobs.sweep()


@shared_task
def keep_house() -> None:
    clear_left_folders()
    retention_jobs.keep_house()

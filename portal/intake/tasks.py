"""Each is safe to run twice: the rows say what is still to be done."""

from celery import shared_task

from portal.intake.checks import answering, jobs
from portal.intake.retention import jobs as retention_jobs
from portal.intake.zips import unpacking


@shared_task(autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def survey_file(source_id: int) -> None:
    jobs.survey(source_id)


@shared_task(autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def measure_song(song_id: int) -> None:
    jobs.measure(song_id)


@shared_task(autoretry_for=(OSError,), retry_backoff=True, max_retries=3)
def unpack_zip(zip_id: int) -> None:
    unpacking.unpack(zip_id)


@shared_task
def send_answers(message_id: int) -> None:
    answering.send_left(message_id)


@shared_task
def sweep() -> None:
    jobs.sweep()


@shared_task
def keep_house() -> None:
    retention_jobs.keep_house()

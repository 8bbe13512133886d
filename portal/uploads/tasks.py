from celery import shared_task

from portal.uploads import jobs


@shared_task
def finish_waiting() -> None:
    jobs.finish_waiting()


@shared_task
def expire_abandoned() -> None:
    jobs.expire_abandoned()

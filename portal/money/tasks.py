"""What of the money changes with the calendar alone."""

from celery import shared_task

from portal.money import services


@shared_task
def note_expired() -> None:
    """Safe to run twice."""
    services.note_expired()

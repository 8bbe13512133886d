"""What of the money changes with the calendar alone."""

from celery import shared_task

from portal.money import payments, services


@shared_task
def note_expired() -> None:
    """Safe to run twice."""
    services.note_expired()


@shared_task
def ask_for_deposits() -> None:
    """Safe to run twice: a letter is written once for each agreement."""
    payments.ask_for_deposits()

"""The outbox in the queue. An e-mail whose task was lost is found by the sweep: the row is the truth."""

from celery import shared_task

from portal.mailroom import digests, jobs, reminders
from portal.mailroom.models import Mail
from portal.queueing import queue_left

MOST_AT_ONCE = 200


@shared_task(acks_late=True)
def send_mail(mail_id: int) -> None:
    """Safe to run twice: a sent e-mail is not due."""
    jobs.send(mail_id)


@shared_task
def send_waiting() -> None:
    """Hand out every e-mail that is due. Safe to run twice: each is claimed before it is sent."""
    due = Mail.objects.due().order_by("not_before").values_list("pk", flat=True)
    queue_left("portal.mailroom.tasks.send_mail", due[:MOST_AT_ONCE])


@shared_task
def remind() -> None:
    """Remind clients of open questions. Safe to run twice: each e-mail has its number in its key."""
    reminders.remind()


@shared_task
def send_digests() -> None:
    """Tell of what changed and nobody looked at. Safe to run twice: each letter has its number in its key."""
    digests.send_digests()

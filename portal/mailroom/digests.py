"""One e-mail when there is more to ask than the first one said, and nobody came to look.

It waits until the message has been still for a while, and is written once until somebody has looked: after that the
reminders take over. Each has its number in its key, so nobody gets one twice, by however many processes this runs.
"""

from __future__ import annotations

from datetime import timedelta

from django.db import transaction
from django.db.models import F, Max
from django.urls import reverse
from django.utils import timezone

from portal.mailroom.emails import compose, letter, readers_of
from portal.mailroom.links import absolute
from portal.mailroom.models import Message
from portal.queueing import for_each_row

# House choice: time enough for whoever is at their computer to see the page change.
STILL_FOR = timedelta(minutes=10)


def send_digests() -> None:
    """Write the digests that are due. Safe to run twice."""
    still = Message.objects.waiting().at_work().filter(changed_at__lte=timezone.now() - STILL_FOR)
    changed = still.filter(changed_at__gt=F("mailed_at")).values_list("pk", flat=True)
    for_each_row(changed, _send_digest, what="digest of message")


@transaction.atomic
def _send_digest(message_id: int) -> None:
    message = Message.objects.select_for_update(of=("self",)).select_related("booking", "song").get(pk=message_id)
    if not is_due(message):
        return
    number = message.digests + 1
    for reader in readers_of(message):
        letter(
            to=reader.email,
            subject=f"More to answer, {message.subject} ({message.booking.title})",
            body=compose(
                to_name=reader.name,
                body=message.body,
                link=absolute(reverse("mailroom:message", args=[message.pk])),
                message=message,
            ),
            key=f"{message.key}:digest:{number}:to:{reader.pk}",
            message=message,
        )
    message.note_digest()


def is_due(message: Message) -> bool:
    if not message.waits_for_answer or message.changed_at is None or message.mailed_at is None:
        return False
    if message.changed_at <= message.mailed_at or message.changed_at > timezone.now() - STILL_FOR:
        return False
    looked_at = message.seen.aggregate(last=Max("at"))["last"]
    if looked_at is not None and looked_at >= message.changed_at:
        return False
    return message.digests == 0 or (looked_at is not None and looked_at > message.mailed_at)

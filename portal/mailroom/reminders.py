"""Reminders of an open question: an e-mail after some days and one more, in the reader's daytime.

Each e-mail's key holds its number, so that nobody gets one twice, however often and by how many processes this runs.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from portal.bookings.services import record
from portal.bookings.stages import OVER_STAGES, SongStage
from portal.mailroom.emails import compose, letter, readers_of
from portal.mailroom.links import absolute
from portal.mailroom.models import Mail, Message
from portal.people.models import House, User
from portal.people.templatetags.look import moment_in_words

MOST_REMINDERS = 2
# Hours of the reader's day in which an e-mail may come (house choice).
DAY_BEGINS, DAY_ENDS = 9, 20


def remind() -> None:
    """Write the e-mails that are due. Safe to run twice."""
    days = House.get().remind_after_days
    if not days:
        return
    wait = timedelta(days=days)
    open_since = Message.objects.filter(state=Message.State.SENT, created_at__lte=timezone.now() - wait)
    waiting = (
        open_since.exclude(answers=[]).exclude(booking__stage__in=OVER_STAGES).exclude(song__stage=SongStage.TAKEN_OUT)
    )
    for message_id in waiting.values_list("pk", flat=True):
        _remind_of(message_id, wait)


@transaction.atomic
def _remind_of(message_id: int, wait: timedelta) -> None:
    message = Message.objects.select_for_update(of=("self",)).select_related("booking", "song").get(pk=message_id)
    if not message.waits_for_answer:  # answered a moment ago
        return
    now = timezone.now()
    for reader in readers_of(message):
        keys = [f"{message.key}:reminder:{number}:to:{reader.pk}" for number in range(1, MOST_REMINDERS + 1)]
        written = list(Mail.objects.filter(key__in=keys).order_by("created_at").values_list("created_at", flat=True))
        last = written[-1] if written else message.created_at
        if len(written) < MOST_REMINDERS and last + wait <= now and _is_day(now, reader):
            _write(message, reader, key=keys[len(written)])


def _is_day(now: datetime, reader: User) -> bool:
    return DAY_BEGINS <= now.astimezone(ZoneInfo(reader.time_zone)).hour < DAY_ENDS


def _write(message: Message, reader: User, *, key: str) -> None:
    with timezone.override(ZoneInfo(reader.time_zone)):
        asked = moment_in_words(message.created_at)
    letter(
        to=reader.email,
        subject=f"Still open: {message.booking.title}: {message.subject}",
        body=compose(
            to_name=reader.name,
            body=f"This has been waiting for your answer since {asked}:\n\n{message.body}",
            link=absolute(reverse("mailroom:message", args=[message.pk])),
            message=message,
        ),
        key=key,
        message=message,
    )
    record(message.booking, f"reminded {reader.name} of “{message.subject}”", song=message.song)

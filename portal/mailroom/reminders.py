"""Reminders of an open question: an e-mail after some days and one more, in the reader's daytime.

Each e-mail's key holds its number, so that nobody gets one twice, however often and by how many processes this runs.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Max
from django.urls import reverse
from django.utils import timezone

from portal.bookings.services import record
from portal.mailroom.emails import compose, letter, readers_of
from portal.mailroom.links import absolute
from portal.mailroom.models import Mail, Message, Question
from portal.people.models import House, User
from portal.people.templatetags.look import moment_in_words
from portal.queueing import for_each_row

MOST_REMINDERS = 2
# Hours of the reader's day in which an e-mail may come (house choice).
DAY_BEGINS, DAY_ENDS = 9, 20


def remind() -> None:
    """Write the e-mails that are due. Safe to run twice."""
    days = House.get().remind_after_days
    if not days:
        return
    wait = timedelta(days=days)
    asked_before = Question.objects.waiting().filter(asked_at__lte=timezone.now() - wait)
    waiting = Message.objects.waiting().at_work().filter(pk__in=asked_before.values("message"))
    for_each_row(waiting.values_list("pk", flat=True), lambda key: _remind_of(key, wait), what="reminder of message")


@transaction.atomic
def _remind_of(message_id: int, wait: timedelta) -> None:
    message = Message.objects.select_for_update(of=("self",)).select_related("booking", "song").get(pk=message_id)
    oldest = message.questions.waiting().order_by("asked_at", "pk").first()
    if oldest is None or oldest.asked_at is None:  # answered a moment ago
        return
    now = timezone.now()
    for reader in readers_of(message):
        series = f"{message.key}:question:{oldest.pk}:reminder"
        keys = [f"{series}:{number}:to:{reader.pk}" for number in range(1, MOST_REMINDERS + 1)]
        count = Mail.objects.filter(key__in=keys).count()
        if (
            count < MOST_REMINDERS
            and _last_mail(message, reader, oldest.asked_at) + wait <= now
            and _is_day(now, reader)
        ):
            _write(message, reader, asked_at=oldest.asked_at, key=keys[count])


def _last_mail(message: Message, reader: User, asked_at: datetime) -> datetime:
    """Whichever came last: the question, or an e-mail about this message."""
    last = message.mails.filter(to=reader.email).aggregate(last=Max("created_at"))["last"]
    return max(asked_at, last) if last else asked_at


def _is_day(now: datetime, reader: User) -> bool:
    return DAY_BEGINS <= now.astimezone(ZoneInfo(reader.time_zone)).hour < DAY_ENDS


def _write(message: Message, reader: User, *, asked_at: datetime, key: str) -> None:
    with timezone.override(ZoneInfo(reader.time_zone)):
        asked = moment_in_words(asked_at)
    letter(
        to=reader.email,
        subject=f"Still open, {message.subject} ({message.booking.title})",
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

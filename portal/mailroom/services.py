"""What is said between the two sides. Each key is said once, however often it is asked for."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

from django.db import transaction
from django.utils import timezone

from portal.bookings.models import Booking, Song
from portal.bookings.services import record, seat_client
from portal.mailroom.emails import hand_out, letter, mail_out, one_line, write_to, write_to_drummers, write_to_members
from portal.mailroom.errors import TooManyMessagesError
from portal.mailroom.models import NOTE_PREFIX, Mail, Message, MessageRule
from portal.people.models import House, User
from portal.people.services import find_or_add_client

__all__ = [
    "invite_client",
    "letter",
    "post",
    "send_again",
    "set_reminding",
    "set_rules",
    "write",
    "write_to_drummers",
    "write_to_members",
]

MESSAGE_SUBJECT_LENGTH = 160
MOST_MESSAGES_A_DAY = 100  # of one client in one booking (house choice)


@transaction.atomic
def post(
    *,
    booking: Booking,
    key: str,
    subject: str,
    body: str,
    song: Song | None = None,
    sender: User | None = None,
) -> Message:
    """Say something in a booking's thread, by page and by mail. The same key again is the same message."""
    message, is_new = Message.objects.get_or_create(
        key=key,
        defaults={
            "booking": booking,
            "song": song,
            "sender": sender,
            "subject": one_line(subject)[:MESSAGE_SUBJECT_LENGTH],
            "body": body,
        },
    )
    if is_new:
        _send(message)
    return message


@transaction.atomic
def write(*, booking: Booking, by: User, body: str, key: str, song: Song | None = None) -> Message:
    """Write freely. `key` comes from the form: the same form sent twice is one message."""
    key, subject = f"{NOTE_PREFIX}{by.pk}:{key}", f"a message from {by.name}"
    if not Message.objects.filter(key=key).exists():
        _check_number(booking, by)
        record(booking, "wrote a message", actor=by, song=song)
    return post(booking=booking, key=key, subject=subject, body=body, song=song, sender=by)


def _check_number(booking: Booking, by: User) -> None:
    """Each message is an e-mail to the other side."""
    lately = Message.objects.filter(booking=booking, sender=by, created_at__gt=timezone.now() - timedelta(days=1))
    if not by.is_drummer and lately.count() >= MOST_MESSAGES_A_DAY:
        raise TooManyMessagesError(
            f"You have written {MOST_MESSAGES_A_DAY} messages in a day. Write again tomorrow: this one was not sent."
        )


@transaction.atomic
def invite_client(*, booking: Booking, email: str, name: str, by: User, key: str) -> Mail:
    """Give a client access and an e-mail that leads to it; called again for someone with access, only the e-mail."""
    client = find_or_add_client(email=email, name=name, time_zone=by.time_zone)
    seat_client(booking=booking, client=client, by=by)
    return write_to(
        client,
        booking=booking,
        by=by,
        key=f"seat:{booking.pk}:{key}",
        subject=f"{by.name} invites you to “{booking.title}”",
        body=f"{by.name} invites you to “{booking.title}”. The page has the songs, your files and all messages.",
        path=booking.get_absolute_url(),
    )


@transaction.atomic
def send_again(*, mail: Mail) -> None:
    """Try an e-mail that failed once more."""
    mail = Mail.objects.select_for_update().get(pk=mail.pk)
    if mail.state == Mail.State.FAILED:
        mail.queue_again()
        hand_out(mail)


@transaction.atomic
def set_rules(rules: Mapping[str, MessageRule.When]) -> None:
    for code, when in rules.items():
        MessageRule.objects.update_or_create(code=code, defaults={"when": when})


def set_reminding(*, after_days: int) -> None:
    """0 reminds nobody."""
    House.objects.filter(pk=House.get().pk).update(remind_after_days=after_days)


def _send(message: Message) -> None:
    """Mail it out. What a person sends has its line in the timeline from what they did: a mix, a delivery, a note."""
    if message.sender is None:
        record(message.booking, f"“{message.subject}” was sent", song=message.song)
    mail_out(message)

"""What is said between the two sides. Each key is said once, however often it is asked for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.db import transaction

from portal.bookings.models import Booking, Song
from portal.bookings.services import record, seat_client
from portal.mailroom.emails import hand_out, letter, mail_out, one_line, write_to, write_to_drummers, write_to_members
from portal.mailroom.errors import NoSuchAnswerError, NotWaitingError
from portal.mailroom.models import Mail, Message, MessageRule
from portal.people.models import House, User
from portal.people.services import find_or_add_client

__all__ = [
    "answer",
    "invite_client",
    "letter",
    "post",
    "send_again",
    "send_held",
    "set_reminding",
    "set_rules",
    "withdraw",
    "write",
    "write_to_drummers",
    "write_to_members",
]

MESSAGE_SUBJECT_LENGTH = 160
VALUE_LENGTH = 100


@transaction.atomic
def post(
    *,
    booking: Booking,
    key: str,
    subject: str,
    body: str,
    song: Song | None = None,
    sender: User | None = None,
    answers: Sequence[Mapping[str, str]] = (),
    held: bool = False,
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
            "answers": [dict(offer) for offer in answers],
            "state": Message.State.HELD if held else Message.State.SENT,
        },
    )
    if is_new and not held:
        _send(message)
    return message


@transaction.atomic
def send_held(*, message: Message, by: User) -> Message:
    """The drummer lets a held message go. Pressed twice, it goes once."""
    message = Message.objects.select_for_update().get(pk=message.pk)
    if message.state == Message.State.HELD and not message.booking.is_over:
        message.send()
        _send(message, actor=by)
    return message


@transaction.atomic
def withdraw(*, message: Message) -> None:
    """Take back what is moot. What was answered stays answered."""
    message = Message.objects.select_for_update().get(pk=message.pk)
    if message.state in (Message.State.HELD, Message.State.SENT):
        message.withdraw()


@transaction.atomic
def close_cancelled(booking_id: int, by_id: int) -> None:  # noqa: ARG001
    """What `bookings.hooks.on_booking_cancelled` calls: no question is open any more, and nothing is held back."""
    asked = Message.objects.filter(booking=booking_id, state=Message.State.SENT).exclude(answers=[])
    held = Message.objects.filter(booking=booking_id, state=Message.State.HELD)
    for message in [*asked, *held]:
        withdraw(message=message)


@transaction.atomic
def answer(*, message: Message, code: str, value: str = "", by: User) -> Message:
    """Take one of the answers on offer. What it changes is up to whoever asked."""
    message = Message.objects.select_for_update().get(pk=message.pk)
    if not message.waits_for_answer:
        raise NotWaitingError("This question no longer needs an answer.")
    offer = next((offer for offer in message.answers if offer["code"] == code), None)
    if offer is None:
        raise NoSuchAnswerError("This is not one of the possible answers. Choose one of the buttons.")
    value = one_line(value)[:VALUE_LENGTH] if offer.get("asks") else ""
    if offer.get("asks") and not value:
        raise NoSuchAnswerError("Enter the number in the field, then press the button next to it.")
    given = {"code": code, "label": offer["label"], "value": value, "unit": offer.get("asks", "")}
    message.take_answer(given, by=by)
    record(message.booking, f"answered “{message.answer_in_words}”", actor=by, song=message.song)
    return message


@transaction.atomic
def write(*, booking: Booking, by: User, body: str, key: str, song: Song | None = None) -> Message:
    """Write freely. `key` comes from the form: the same form sent twice is one message."""
    key, subject = f"note:{by.pk}:{key}", f"a message from {by.name}"
    if not Message.objects.filter(key=key).exists():
        record(booking, "wrote a message", actor=by, song=song)
    return post(booking=booking, key=key, subject=subject, body=body, song=song, sender=by)


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


def _send(message: Message, *, actor: User | None = None) -> None:
    """Mail it out. What a person sends has its line in the timeline from what they did: a mix, a delivery, a note."""
    if message.sender is None:
        text = f"sent “{message.subject}”" if actor else f"“{message.subject}” was sent"
        record(message.booking, text, actor=actor, song=message.song)
    mail_out(message)

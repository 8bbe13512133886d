"""Writing e-mails: plain text, in the reader's words, one link. An e-mail is a row before it is anything else."""

from __future__ import annotations

from django.db import transaction
from django.db.models import QuerySet
from django.template.loader import render_to_string
from django.urls import reverse

from portal.bookings.models import Booking
from portal.bookings.services import note_told, record
from portal.mailroom.links import absolute
from portal.mailroom.models import Mail, Message
from portal.people.models import House, User
from portal.people.services import invite
from portal.queueing import queue_task_on_commit

SUBJECT_LENGTH = 200


@transaction.atomic
def letter(
    *, to: str, subject: str, body: str, key: str, message: Message | None = None, is_private: bool = False
) -> Mail:
    """Put an e-mail in the outbox. The same key again is the same e-mail: it is sent once."""
    fields = {"to": to, "subject": one_line(subject), "body": body, "message": message, "is_private": is_private}
    mail, is_new = Mail.objects.get_or_create(key=key, defaults=fields)
    if is_new:
        hand_out(mail)
    return mail


def private_letter(*, to: str, subject: str, body: str, key: str) -> Mail:
    """What `people.hooks.carries_private_letter` calls: nobody but the reader may see what it says."""
    return letter(to=to, subject=subject, body=body, key=key, is_private=True)


def hand_out(mail: Mail) -> None:
    """Queue an e-mail once its row is safe. A queue that is down undoes nothing: the sweep finds the e-mail."""
    queue_task_on_commit("portal.mailroom.tasks.send_mail", mail.pk)


@transaction.atomic
def write_to_members(*, booking: Booking, by: User, key: str, subject: str, body: str, path: str) -> list[Mail]:
    """One e-mail to each client of the booking, leading to `path`. Who cannot sign in yet gets an invitation there."""
    members = User.objects.filter(memberships__booking=booking, is_active=True).order_by("pk")
    return [write_to(user, booking=booking, by=by, key=key, subject=subject, body=body, path=path) for user in members]


@transaction.atomic
def write_to(user: User, *, booking: Booking, by: User, key: str, subject: str, body: str, path: str) -> Mail:
    key = f"{key}:to:{user.pk}"
    note_told(booking, user)
    known = Mail.objects.filter(key=key).first()
    if known is not None:
        return known
    _, _, token = invite(email=user.email, name=user.name, sent_by=by, lands_on=path, about=booking.title)
    if token is None:
        text = compose(to_name=user.name, body=body, link=absolute(path))
        return letter(to=user.email, subject=subject, body=text, key=key)
    link = absolute(reverse("people:invitation", args=[token]))
    text = compose(to_name=user.name, body=body, link=link, is_invitation=True)
    record(booking, f"invited {user.name}", actor=by)
    return letter(to=user.email, subject=subject, body=text, key=key)


@transaction.atomic
def write_to_drummers(*, key: str, subject: str, body: str, path: str) -> list[Mail]:
    """One e-mail to each drummer of the house."""
    return [
        letter(
            to=user.email,
            subject=subject,
            body=compose(to_name=user.name, body=body, link=absolute(path)),
            key=f"{key}:to:{user.pk}",
        )
        for user in drummers()
    ]


def drummers() -> QuerySet[User]:
    return User.objects.filter(role=User.Role.DRUMMER, is_active=True).order_by("pk")


def mail_out(message: Message) -> None:
    """An e-mail about a message of the thread to everyone on the other side of it."""
    link = absolute(reverse("mailroom:message", args=[message.pk]))
    for user in readers_of(message):
        note_told(message.booking, user)
        body = compose(to_name=user.name, body=message.body, link=link, message=message)
        letter(
            to=user.email,
            subject=f"{message.subject} ({message.booking.title})",
            body=body,
            key=f"{message.key}:to:{user.pk}",
            message=message,
        )


def readers_of(message: Message) -> QuerySet[User]:
    """Clients read what the house and its drummers write, drummers what a client writes."""
    if message.sender is not None and not message.sender.is_drummer:
        return drummers()
    return User.objects.filter(memberships__booking=message.booking_id, is_active=True).order_by("pk")


def compose(*, to_name: str, body: str, link: str, is_invitation: bool = False, message: Message | None = None) -> str:
    context = {
        "to_name": to_name,
        "body": body.strip(),
        "link": link,
        "is_invitation": is_invitation,
        "message": message,
        "house": House.get(),
    }
    return render_to_string("mailroom/letter.txt", context)


def one_line(text: str) -> str:
    """A subject is one header line: what people typed may hold line breaks."""
    line = " ".join(text.split())
    return line if len(line) <= SUBJECT_LENGTH else f"{line[: SUBJECT_LENGTH - 1]}…"

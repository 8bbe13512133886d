"""The talk about a booking or a song, as parts of their pages."""

from __future__ import annotations

from typing import Any

from django import template
from django.template import Context

from portal.bookings.models import Booking, Song
from portal.mailroom.forms import InviteForm, WriteForm
from portal.mailroom.links import without_ways_in
from portal.mailroom.models import Mail, Message, MessageQuerySet, Question
from portal.mailroom.questions_page import questions_page
from portal.people.models import User

register = template.Library()


@register.inclusion_tag("mailroom/_booking_messages.html", takes_context=True)
def booking_messages(context: Context, booking: Booking) -> dict[str, Any]:
    said = said_to(context["request"].user).filter(booking=booking)
    return part(context, booking, None, said)


@register.inclusion_tag("mailroom/_song_messages.html", takes_context=True)
def song_messages(context: Context, song: Song) -> dict[str, Any]:
    said = said_to(context["request"].user).filter(song=song)
    return part(context, song.booking, song, said)


@register.inclusion_tag("mailroom/_booking_people.html", takes_context=True)
def booking_people(context: Context, booking: Booking) -> dict[str, Any]:
    """Who has access; for the drummer also who has not signed in yet, and a form to invite."""
    request = context["request"]
    return {
        "booking": booking,
        "members": booking.members.select_related("user").order_by("pk"),
        "user": request.user,
        "form": InviteForm(),
        "csrf_token": context.get("csrf_token"),
    }


@register.filter
def body_shown(mail: Mail) -> str:
    return without_ways_in(mail.body)


@register.inclusion_tag("mailroom/_questions.html", takes_context=True)
def message_questions(context: Context, message: Message) -> dict[str, Any]:
    """Also in a list of messages: whoever made the list fetched their questions."""
    return questions_page(message, context["user"]) | {"csrf_token": context.get("csrf_token")}


def is_open_to(message: Message, user: User) -> bool:
    has_held = any(question.state == Question.State.HELD for question in message.questions.all())
    return message.waits_for_answer or (has_held and user.is_drummer)


def said_to(user: User) -> MessageQuerySet:
    return (
        Message.objects.visible_to(user)
        .select_related("booking", "song", "sender", "answered_by")
        .prefetch_related("questions__answered_by")
        .newest_first()
    )


def part(context: Context, booking: Booking, song: Song | None, said: MessageQuerySet) -> dict[str, Any]:
    """Open questions stand apart, before everything else that was said."""
    everything = list(said)
    request = context["request"]
    open_ones = [message for message in everything if is_open_to(message, request.user)]
    return {
        "booking": booking,
        "song": song,
        "open_messages": open_ones,
        "messages_said": [message for message in everything if message not in open_ones],
        "form": WriteForm(),
        "back": request.path,
        "user": request.user,
        "request": request,
        "csrf_token": context.get("csrf_token"),
    }

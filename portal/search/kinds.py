"""The kinds of things that can be found, and how one of each is shown. Each model's `visible_to` says what is there.

The archive is included: what is closed, declined or cancelled is found like everything else.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.urls import reverse

from portal.bookings.models import Booking, Member, Song
from portal.delivery.models import DeliveryFile
from portal.folding import Words, all_in, any_of
from portal.intake.models import SourceFile
from portal.mailroom.models import Message, Question
from portal.people.models import User
from portal.search.words import excerpt, one_in
from portal.takes.models import RoughMix

MOST_SEATS = 3


@dataclass(frozen=True)
class Found:
    """One thing: what it is, where it is, and when it came to be or last changed."""

    title: str
    href: str
    where: str
    at: datetime | None
    text: str = ""


@dataclass(frozen=True)
class Kind:
    """`rows` are those that hold the words, the newest first; `shown` is one of them as the page shows it."""

    key: str
    title: str
    rows: Callable[[User, Words], QuerySet[Any]]
    shown: Callable[[Any, Words], Found]


def bookings(user: User, words: Words) -> QuerySet[Booking]:
    """By title; for the drummer by their clients, too."""
    wanted = Q()
    for word in words:
        seats = Member.objects.filter(any_of(word, "user__folded", "user__email"), booking=OuterRef("pk"))
        wanted &= any_of(word, "folded") | (Q(Exists(seats)) if user.is_drummer else Q())
    return (
        Booking.objects.visible_to(user)
        .filter(wanted)
        .select_related("created_by")
        .prefetch_related("members__user")
        .order_by("-created_at", "-pk")
    )


def booking_shown(booking: Booking, words: Words) -> Found:  # noqa: ARG001 - every kind takes them
    names = [member.user.name for member in booking.members.all()][:MOST_SEATS]
    where = ", ".join([booking.get_stage_display(), *names])
    return Found(booking.title, booking.get_absolute_url(), where, booking.created_at)


def songs(user: User, words: Words) -> QuerySet[Song]:
    wanted = all_in(words, "folded", "booking__folded") & one_in(words, "folded")
    return Song.objects.visible_to(user).filter(wanted).select_related("booking").order_by("-turn_since", "-pk")


def song_shown(song: Song, words: Words) -> Found:  # noqa: ARG001
    where = f"{song.booking.title}, {song.get_stage_display()}"
    return Found(song.title, song.get_absolute_url(), where, song.turn_since)


def people(user: User, words: Words) -> QuerySet[User]:
    """A client finds, by name, who is at the same bookings; the drummer everybody, by name or address."""
    own = Booking.objects.visible_to(user)
    if user.is_drummer:
        found = User.objects.filter(all_in(words, "folded", "email"))
    else:
        at_own = Q(pk__in=own.values("created_by")) | Q(
            pk__in=Member.objects.filter(booking__in=own.values("pk")).values("user")
        )
        found = User.objects.filter(at_own, all_in(words, "folded"))
    seats = Member.objects.filter(user=OuterRef("pk")).order_by("-booking")
    if not user.is_drummer:
        seats = seats.filter(booking__in=own.values("pk"))
    newest = {"seat": seats.values("booking")[:1], "seat_title": seats.values("booking__title")[:1]}
    return found.annotate(**newest).order_by("name", "pk")


def person_shown(person: Any, words: Words) -> Found:  # noqa: ARG001
    """A drummer is at every booking; a client is found at the newest of theirs."""
    href = reverse("bookings:booking", args=[person.seat]) if person.seat else ""
    return Found(person.name, href, person.get_role_display(), None, person.seat_title or "")


def source_files(user: User, words: Words) -> QuerySet[SourceFile]:
    found = SourceFile.objects.visible_to(user).filter(all_in(words, "folded"))
    return found.select_related("song__booking").defer("report").order_by("-received_at", "-pk")


def source_shown(source: SourceFile, words: Words) -> Found:  # noqa: ARG001
    left = source.get_left_as_display() if source.left_as else ""
    return Found(source.name, f"{source.song.get_absolute_url()}#files", _place(source.song, left), source.received_at)


def rough_mixes(user: User, words: Words) -> QuerySet[RoughMix]:
    found = RoughMix.objects.visible_to(user).filter(all_in(words, "folded"))
    return found.select_related("song__booking").defer("report").order_by("-received_at", "-pk")


def mix_shown(mix: RoughMix, words: Words) -> Found:  # noqa: ARG001
    href = f"{mix.song.get_absolute_url()}#rough-mixes"
    return Found(mix.name, href, _place(mix.song, f"rough mix {mix.number}"), mix.received_at)


def tracks(user: User, words: Words) -> QuerySet[DeliveryFile]:
    found = DeliveryFile.objects.visible_to(user).filter(all_in(words, "folded_name"))
    return found.select_related("delivery__song__booking").order_by("-received_at", "-pk")


def track_shown(track: DeliveryFile, words: Words) -> Found:  # noqa: ARG001
    delivery = track.delivery
    href = reverse("delivery:delivery", args=[delivery.pk])
    return Found(track.name, href, _place(delivery.song, f"delivery {delivery.number}"), track.received_at)


def talk(user: User, words: Words) -> QuerySet[Message]:
    """By what a message says or asks. One that was withdrawn may never have been sent: it is the drummer's alone."""
    said = Message.objects.visible_to(user)
    for word in words:
        asks = Question.objects.visible_to(user).filter(any_of(word, "folded"), message=OuterRef("pk"))
        said = said.filter(any_of(word, "folded") | Q(Exists(asks)))
    if not user.is_drummer:
        said = said.exclude(state=Message.State.WITHDRAWN)
    return said.select_related("booking", "song").newest_first()


def message_shown(message: Message, words: Words) -> Found:
    where = message.booking.title if message.song is None else _place(message.song)
    href = reverse("mailroom:message", args=[message.pk])
    return Found(message.subject, href, where, message.said_at, excerpt(message.body, words))


def _place(song: Song, *more: str) -> str:
    titles = [song.booking.title, song.title] if song.title != song.booking.title else [song.title]
    return ", ".join([*titles, *filter(None, more)])


KINDS = (
    Kind("bookings", "Bookings", bookings, booking_shown),
    Kind("songs", "Songs", songs, song_shown),
    Kind("people", "People", people, person_shown),
    Kind("files", "Source files", source_files, source_shown),
    Kind("rough-mixes", "Rough mixes", rough_mixes, mix_shown),
    Kind("tracks", "Delivered tracks", tracks, track_shown),
    Kind("messages", "Messages", talk, message_shown),
)
KIND_BY_KEY = {kind.key: kind for kind in KINDS}

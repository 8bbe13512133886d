"""Every page of a house, for every row that it can show, as its drummer and as each client sees it."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from django.contrib import admin
from django.core.signals import got_request_exception
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, resolve, reverse
from django.utils.http import urlsafe_base64_encode

from portal.bookings.models import Booking, Member, Song
from portal.charts.models import ChartFile, ChartVersion
from portal.delivery.links import file_address, make_link, page_of
from portal.delivery.models import Delivery, DeliveryFile, KitPhoto, ShareLink
from portal.intake.models import Finding, KeptView, SentZip, SourceFile
from portal.kit.models import TakeLog
from portal.listening.models import Excerpt
from portal.mailroom.models import Mail, Message, Question
from portal.money.models import Payment, Quote
from portal.people.addresses import change_address
from portal.people.models import User
from portal.prep.models import PreparedFile, SessionPack
from portal.takes.models import BarNote, RoughMix
from portal.uploads.models import Upload

# Which row an address is about.
MODELS: dict[str, Any] = {
    "booking_id": Booking,
    "user_id": User,
    "member_id": Member,
    "song_id": Song,
    "source_id": SourceFile,
    "zip_id": SentZip,
    "finding_id": Finding,
    "view_id": KeptView,
    "message_id": Message,
    "question_id": Question,
    "mail_id": Mail,
    "excerpt_id": Excerpt,
    "prepared_id": PreparedFile,
    "pack_id": SessionPack,
    "take_id": TakeLog,
    "version_id": ChartVersion,
    "chart_file_id": ChartFile,
    "rough_mix_id": RoughMix,
    "note_id": BarNote,
    "delivery_id": Delivery,
    "file_id": DeliveryFile,
    "photo_id": KitPhoto,
    "link_id": ShareLink,
    "quote_id": Quote,
    "payment_id": Payment,
    "upload_id": Upload,
}
# Their pages show all that belongs to them: each is opened. Of the others, one of each kind.
EACH = ("booking_id", "song_id")
# What the links in letters hold; a link may have run out, or have been taken.
WORDS = ("token", "uidb64", "change_token", "link_token")
OPENED, REFUSED, ABSENT, POSTED_ONLY, GONE = (200, 302), 403, 404, 405, 410
# What may be missing of a row that is there: sound that is not made yet, or was cleared away; a drummer is no client.
MAY_LACK = ("source_id", "excerpt_id", "rough_mix_id", "user_id")
TUS = {"Tus-Resumable": "1.0.0"}


@dataclass(frozen=True)
class Route:
    """`needs`: the numbers and words that its address holds."""

    name: str
    needs: tuple[str, ...]


@dataclass(frozen=True)
class Answer:
    status: int
    fault: str


Ask = Callable[[str], Answer]


def visit() -> dict[str, Any]:
    """`wrong`: answers that nobody should get. `never_opened`: pages that opened for nobody, whatever row was named."""
    wrong: list[str] = []
    opened: set[str] = set()
    asked, routes = 0, list(routes_of(get_resolver()))
    for user in User.objects.order_by("role", "pk"):
        ask = browser_of(user)
        for route in routes:
            for row, answer in answers_of(ask, route, user):
                asked += 1
                if answer.status not in allowed(user, route, row):
                    wrong.append(f"{user.role} {user.pk}, {route.name} {row}: {answer.status} {answer.fault}".strip())
                elif answer.status in (*OPENED, POSTED_ONLY):
                    opened.add(route.name)
        wrong += support_pages(user, ask)
    return {"asked": asked, "wrong": wrong, "never_opened": sorted({route.name for route in routes} - opened)}


def answers_of(ask: Ask, route: Route, user: User) -> Iterator[tuple[dict[str, Any], Answer]]:
    for row in rows_for(route, user):
        answer = ask(reverse(route.name, kwargs=row))
        yield row, answer
        if answer.status == POSTED_ONLY:
            return  # and so for every row


def browser_of(user: User) -> Ask:
    """Asks as this person. What a page raises is told, not raised."""
    browser = Client(raise_request_exception=False, HTTP_HOST="localhost")
    browser.force_login(user)

    def ask(address: str) -> Answer:
        faults: list[str] = []

        def note(**_: Any) -> None:
            faults.append(repr(sys.exc_info()[1]))

        is_tus = address.startswith("/tus/")
        got_request_exception.connect(note)
        response = browser.generic("HEAD" if is_tus else "GET", address, headers=TUS if is_tus else {})
        got_request_exception.disconnect(note)
        return Answer(response.status_code, " ".join(faults))

    return ask


def routes_of(resolver: URLResolver, namespace: str = "") -> Iterator[Route]:
    """Every named address but those of the support pages."""
    for entry in resolver.url_patterns:
        if isinstance(entry, URLPattern):
            yield Route(f"{namespace}{entry.name}", tuple(entry.pattern.converters))
        elif entry.namespace != "admin":
            yield from routes_of(entry, f"{namespace}{entry.namespace}:" if entry.namespace else namespace)


def rows_for(route: Route, user: User) -> Iterator[dict[str, Any]]:
    """What this person may see, and one row that is not theirs."""
    if set(route.needs) <= set(WORDS):
        yield {name: word_in_link(name, is_of_file=route.name.endswith("-file")) for name in route.needs}
        return
    (name,) = route.needs
    theirs = visible_to(user, name)
    yield from ({name: pk} for pk in (theirs if name in EACH else one_of_each_kind(name, theirs)))
    hidden = MODELS[name]._base_manager.exclude(pk__in=theirs).first()
    if hidden is not None:
        yield {name: hidden.pk}


def allowed(user: User, route: Route, row: dict[str, Any]) -> tuple[int, ...]:
    """Which answers are right for this person and this row."""
    if not row:
        return (*OPENED, POSTED_ONLY) if user.is_drummer else (*OPENED, REFUSED, POSTED_ONLY)
    ((name, pk), *_) = row.items()
    if name in WORDS:
        return (*OPENED, ABSENT, GONE)
    if pk not in visible_to(user, name):
        return (ABSENT, POSTED_ONLY)
    if name == "upload_id":
        return (OPENED[0], GONE)
    lacking = (ABSENT,) if name in MAY_LACK or route.name.endswith((":zip", ":music", ":changes")) else ()
    return (*OPENED, POSTED_ONLY, *lacking) if user.is_drummer else (*OPENED, REFUSED, POSTED_ONLY, *lacking)


@cache
def one_of_each_kind(name: str, keys: tuple[Any, ...]) -> list[Any]:
    """Rows are of one kind when they are in the same states, and have the same fields filled in."""
    model = MODELS[name]
    kinds: dict[tuple[Any, ...], Any] = {}
    for row in model._base_manager.filter(pk__in=keys):
        fields = [(field, getattr(row, field.attname)) for field in model._meta.concrete_fields]
        kinds.setdefault(tuple(value if field.choices else bool(value) for field, value in fields), row.pk)
    return list(kinds.values())


@cache
def visible_to(user: User, name: str) -> tuple[Any, ...]:
    """What has no client of its own is hidden by a refusal."""
    rows = MODELS[name]._base_manager.all()
    if name == "upload_id":
        rows = rows.filter(owner=user)
    elif hasattr(MODELS[name].objects, "visible_to"):
        rows = MODELS[name].objects.visible_to(user)
    return tuple(rows.values_list("pk", flat=True).distinct())


def word_in_link(name: str, *, is_of_file: bool = False) -> str:
    """A number of a person, as a link writes it, or what the newest invitation holds."""
    if name == "uidb64":
        return urlsafe_base64_encode(b"1")
    if name == "change_token":
        return new_address_link()
    if name == "link_token":
        return word_of_share_link(is_of_file=is_of_file)
    letter = Mail.objects.filter(body__contains="/invitations/").first()
    return letter.body.partition("/invitations/")[2].partition("/")[0] if letter else "none"


def word_of_share_link(*, is_of_file: bool) -> str:
    """A link to a released delivery, made now, or to a file of it."""
    delivery = Delivery.objects.filter(state__in=Delivery.SEEN_BY_CLIENT, files__isnull=False).first()
    drummer = User.objects.filter(role=User.Role.DRUMMER).first()
    if delivery is None or drummer is None:
        return "none"
    link = make_link(delivery=delivery, made_for="the mix engineer", days=1, by=drummer)
    file = delivery.files.current()[0]
    return str(resolve(file_address(link, file) if is_of_file else page_of(link)).kwargs["link_token"])


def new_address_link() -> str:
    """What the e-mail to a client's new address holds, asked for now: such a link holds for some days only."""
    client = User.objects.filter(role=User.Role.CLIENT).exclude(password__startswith="!").exclude(password="").first()
    drummer = User.objects.filter(role=User.Role.DRUMMER).first()
    if client is None or drummer is None:
        return "none"
    change_address(client=client, email="moved@example.com", by=drummer, address_of_link="")
    letter = Mail.objects.filter(to="moved@example.com", body__contains="/address/").latest("pk")
    return letter.body.partition("/address/")[2].partition("/")[0]


def support_pages(user: User, ask: Ask) -> Iterator[str]:
    """Each list, and the newest row of each."""
    if not user.is_staff:
        return
    for model in admin.site._registry:
        page, row = f"admin:{model._meta.app_label}_{model._meta.model_name}", model._base_manager.last()
        for address in [reverse(f"{page}_changelist")] + ([reverse(f"{page}_change", args=[row.pk])] if row else []):
            answer = ask(address)
            if answer.status != OPENED[0]:
                yield f"{user.role} {user.pk}, {address}: {answer.status} {answer.fault}"

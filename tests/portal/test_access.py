"""Every address of the house, as a drummer, the booking's client, a client of another booking, and nobody.

A route without a row here fails the test: whoever adds one says who may come in.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from django.db import transaction
from django.http import HttpResponse, HttpResponseBase
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from pytest_django import DjangoDbBlocker

from portal.bookings.models import Booking
from tests.world import PEOPLE, TITLE, World, make_world

pytestmark = pytest.mark.django_db

SIGN_IN = "to the sign-in page"
OK, MOVED, REFUSED, ABSENT, WRONG_METHOD, UNPROCESSABLE = 200, 302, 403, 404, 405, 422


@dataclass(frozen=True)
class Row:
    """How a route answers: to the drummer, the client of the booking, a client of another one, and nobody."""

    method: str
    drummer: int
    client: int
    other: int
    nobody: int | str
    needs: str = ""  # the row of the world whose key the address holds


def members(method: str, status: int, needs: str) -> Row:
    """For both sides of the booking."""
    return Row(method, status, status, ABSENT, SIGN_IN, needs)


def drummers(method: str, status: int, needs: str) -> Row:
    """For the drummer alone: the client knows that it is there, others do not."""
    return Row(method, status, REFUSED, ABSENT, SIGN_IN, needs)


def clients(method: str, status: int, needs: str) -> Row:
    """For the client alone to decide."""
    return Row(method, REFUSED, status, ABSENT, SIGN_IN, needs)


def house(method: str, status: int, needs: str = "") -> Row:
    """Of the house, not of a booking: no client has a right to it, and its being there is no secret."""
    return Row(method, status, REFUSED, REFUSED, SIGN_IN, needs)


def signed_in(method: str, status: int) -> Row:
    return Row(method, status, status, status, SIGN_IN)


def everybody(method: str, status: int, needs: str = "") -> Row:
    return Row(method, status, status, status, status, needs)


ROWS = {
    "health": everybody("GET", OK),
    "people:sign-in": Row("GET", MOVED, MOVED, MOVED, OK),
    "people:sign-out": everybody("POST", MOVED),
    "people:invitation": everybody("GET", OK, "token"),
    "people:client": house("GET", OK, "account"),
    "people:address": everybody("GET", OK, "address_token"),
    "people:me": signed_in("GET", OK),
    "people:house": house("GET", OK),
    "people:password-change": signed_in("GET", OK),
    "people:password-changed": signed_in("GET", OK),
    "people:password-reset": everybody("GET", OK),
    "people:password-reset-sent": everybody("GET", OK),
    "people:password-reset-confirm": everybody("GET", OK, "reset"),
    "people:password-reset-done": everybody("GET", OK),
    "bookings:home": Row("GET", MOVED, MOVED, MOVED, SIGN_IN),
    "bookings:board": signed_in("GET", OK),
    "bookings:archive": signed_in("GET", OK),
    "bookings:new": house("GET", OK),
    "bookings:booking": members("GET", OK, "booking"),
    "bookings:add-song": drummers("POST", UNPROCESSABLE, "booking"),
    "bookings:correct": drummers("GET", OK, "booking"),
    "bookings:correct-songs": drummers("POST", UNPROCESSABLE, "booking"),
    "bookings:answer-due": clients("POST", MOVED, "booking"),
    "bookings:withdraw-seat": drummers("POST", MOVED, "member"),
    "bookings:take-out": drummers("POST", MOVED, "song"),
    "bookings:put-back": drummers("POST", MOVED, "song"),
    "bookings:cancel": drummers("POST", MOVED, "booking"),
    "bookings:song": members("GET", OK, "song"),
    "bookings:brief": members("GET", OK, "song"),
    "mailroom:mail": house("GET", OK),
    "mailroom:send-again": house("POST", MOVED, "mail"),
    "mailroom:threads": signed_in("GET", OK),
    "mailroom:message": members("GET", OK, "message"),
    "mailroom:write": members("POST", UNPROCESSABLE, "booking"),
    "mailroom:invite": drummers("POST", UNPROCESSABLE, "booking"),
    "mailroom:rules": house("GET", OK),
    # The protocol's answers are for programs: 403 asks for a new sign-in, 400 lacks where the file belongs.
    "uploads:create": Row("POST", 400, 400, 400, REFUSED),
    "uploads:upload": Row("HEAD", ABSENT, OK, ABSENT, REFUSED, "upload"),
    "intake:desk": house("GET", OK),
    "intake:keep-view": house("POST", MOVED),
    "intake:drop-view": house("POST", MOVED, "kept_view"),
    "intake:set-aside": drummers("POST", MOVED, "song"),
    "intake:take-up": drummers("POST", MOVED, "song"),
    "intake:files": members("GET", MOVED, "song"),
    "intake:plain-upload": members("POST", MOVED, "song"),
    "intake:announce": members("POST", 400, "song"),
    "intake:answer-by-old-page": members("POST", MOVED, "message"),
    "intake:all-sent": members("POST", MOVED, "song"),
    "intake:sheet": drummers("GET", OK, "song"),
    "intake:approve": drummers("POST", MOVED, "song"),
    "intake:overrule": drummers("POST", UNPROCESSABLE, "song"),
    "intake:map": drummers("GET", OK, "song"),
    "intake:try-map": drummers("POST", UNPROCESSABLE, "song"),
    "intake:keep-map": drummers("POST", MOVED, "song"),
    "intake:taps": drummers("POST", MOVED, "song"),
    "intake:ready": drummers("POST", MOVED, "song"),
    "intake:check-again": drummers("POST", MOVED, "song"),
    "intake:waive": drummers("POST", MOVED, "finding"),
    "intake:download": members("GET", OK, "source"),
    "intake:versions": members("GET", OK, "source"),
    "intake:replace": members("POST", MOVED, "source"),
    "intake:bring-back": members("POST", MOVED, "source"),
    "intake:ask-to-keep": clients("POST", MOVED, "booking"),
    "intake:keep-longer": drummers("POST", MOVED, "booking"),
    "intake:let-go": drummers("POST", MOVED, "booking"),
    "intake:zip": members("GET", OK, "sent_zip"),
    "intake:remove": members("POST", MOVED, "source"),
    "intake:no-click": members("POST", MOVED, "source"),
    "intake:answer": members("POST", MOVED, "question"),
    "intake:send-answers": members("POST", MOVED, "message"),
    "intake:send-held": drummers("POST", MOVED, "message"),
    "lanes:lanes": drummers("GET", OK, "song"),
    "lanes:playing": drummers("GET", OK, "song"),
    "lanes:pyramid": drummers("GET", OK, "source"),
    "lanes:onsets": drummers("GET", OK, "source"),
    "lanes:click": house("GET", OK),
    "lanes:sound": drummers("GET", ABSENT, "source"),
    "listening:ask": drummers("POST", MOVED, "song"),
    "listening:excerpt": members("GET", OK, "excerpt"),
    "listening:answer": clients("POST", UNPROCESSABLE, "excerpt"),
    "listening:audio": members("GET", OK, "excerpt"),
    "charts:chart": members("GET", OK, "song"),
    "charts:pages": members("GET", OK, "song"),
    "charts:draft": drummers("POST", MOVED, "song"),
    "charts:musicxml": drummers("POST", MOVED, "song"),
    "charts:try": drummers("POST", OK, "song"),
    "charts:save": drummers("POST", UNPROCESSABLE, "song"),
    "charts:share": Row("POST", MOVED, ABSENT, ABSENT, SIGN_IN, "version"),
    "charts:restore": Row("POST", MOVED, ABSENT, ABSENT, SIGN_IN, "version"),
    "charts:file": Row("GET", OK, ABSENT, ABSENT, SIGN_IN, "chart_file"),
    "prep:file": members("GET", OK, "prepared"),
    "kit:worker": everybody("GET", OK),
    "kit:page": drummers("GET", OK, "song"),
    "kit:song": drummers("GET", OK, "song"),
    "kit:takes": drummers("POST", UNPROCESSABLE, "song"),
    "kit:log-take": drummers("POST", MOVED, "song"),
    "kit:change-take": drummers("POST", MOVED, "take"),
    "kit:balance": drummers("POST", UNPROCESSABLE, "song"),
    "prep:make-pack": drummers("POST", MOVED, "song"),
    "prep:choose": drummers("GET", OK, "song"),
    "prep:make-click": drummers("POST", MOVED, "song"),
    "prep:zip": Row("GET", OK, ABSENT, ABSENT, SIGN_IN, "pack"),
    "prep:house": house("GET", OK),
    "takes:track": drummers("POST", MOVED, "song"),
    "takes:rough-mixes": members("GET", MOVED, "song"),
    "takes:upload": drummers("POST", MOVED, "song"),
    "takes:send": drummers("POST", MOVED, "rough_mix"),
    "takes:decide": clients("POST", UNPROCESSABLE, "rough_mix"),
    "takes:listen": members("GET", OK, "song"),
    "takes:music": members("GET", ABSENT, "song"),
    "takes:sound": members("GET", ABSENT, "rough_mix"),
    "takes:notes": members("GET", OK, "song"),
    "takes:leave-note": members("POST", MOVED, "rough_mix"),
    "takes:answer-note": members("POST", MOVED, "bar_note"),
    "takes:mark-note": members("POST", MOVED, "bar_note"),
    "takes:take-back-note": members("POST", MOVED, "bar_note"),
    "takes:audio": members("GET", OK, "rough_mix"),
    "delivery:open": drummers("POST", MOVED, "song"),
    "delivery:delivery": members("GET", OK, "delivery"),
    "delivery:upload": drummers("POST", MOVED, "delivery"),
    "delivery:describe": drummers("POST", UNPROCESSABLE, "delivery"),
    "delivery:check": drummers("POST", MOVED, "delivery"),
    "delivery:repair": drummers("POST", MOVED, "delivery"),
    "delivery:waive": drummers("POST", UNPROCESSABLE, "delivery"),
    "delivery:release": drummers("POST", MOVED, "delivery"),
    "delivery:accept": clients("POST", MOVED, "delivery"),
    "delivery:zip": members("GET", OK, "delivery"),
    "delivery:changes": members("GET", ABSENT, "delivery"),
    "delivery:sheet": members("GET", OK, "delivery"),
    "delivery:sheet-pdf": members("GET", OK, "delivery"),
    "delivery:sheet-json": members("GET", OK, "delivery"),
    "delivery:photo": members("GET", OK, "photo"),
    "delivery:upload-photo": drummers("POST", MOVED, "delivery"),
    "delivery:remove-photo": drummers("POST", MOVED, "photo"),
    "delivery:share": members("POST", UNPROCESSABLE, "delivery"),
    "delivery:withdraw-link": members("POST", MOVED, "share_link"),
    "delivery:shared": everybody("GET", OK, "share_word"),
    "delivery:shared-zip": everybody("GET", OK, "share_word"),
    "delivery:shared-file": everybody("GET", OK, "share_file"),
    "delivery:file": members("GET", OK, "track"),
    "delivery:remove": drummers("POST", MOVED, "track"),
    "search:search": signed_in("GET", OK),
    "money:quote": members("GET", OK, "booking"),
    "money:preview": drummers("POST", OK, "booking"),
    "money:send": drummers("GET", MOVED, "booking"),
    "money:decide": clients("POST", UNPROCESSABLE, "quote"),
    "money:payment": drummers("POST", UNPROCESSABLE, "booking"),
    "money:take-back": drummers("POST", MOVED, "payment"),
}
# What exists while a song is with the drummer alone, or is held back: for the client it is not there yet.
HIDDEN = {
    "mailroom:message": "held_message",
    "intake:answer": "held_question",
    "intake:send-answers": "held_message",
    "takes:audio": "unsent_mix",
    "takes:sound": "unsent_mix",
    "takes:leave-note": "unsent_mix",
    "takes:answer-note": "unsent_note",
    "takes:mark-note": "unsent_note",
    "takes:take-back-note": "unsent_note",
    "takes:decide": "unsent_mix",
    "delivery:delivery": "open_delivery",
    "delivery:zip": "open_delivery",
    "delivery:changes": "open_delivery",
    "delivery:share": "open_delivery",
    "delivery:accept": "open_delivery",
    "delivery:file": "unreleased_track",
}


def route_names(resolver: URLResolver, namespace: str = "") -> Iterator[str]:
    """Every named address; the support pages are one app of Django's own with its own rules, tested as a whole."""
    for entry in resolver.url_patterns:
        if isinstance(entry, URLPattern):
            yield f"{namespace}{entry.name}"
        elif entry.namespace != "admin":
            yield from route_names(entry, f"{namespace}{entry.namespace}:" if entry.namespace else namespace)


def test_every_route_has_a_row_and_every_row_a_route() -> None:
    names = list(route_names(get_resolver()))
    assert sorted(names) == sorted(ROWS)


@pytest.fixture(scope="module")
def made_world(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[World]:
    """One for all of these tests: each leaves it as it was."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield make_world()
        transaction.set_rollback(True)


@pytest.fixture
def world(db: None, made_world: World) -> World:
    """What a test changes is undone with its own transaction, inside the one that the world was made in."""
    return made_world


@pytest.mark.parametrize("name", ROWS)
def test_a_route_answers_each_as_its_row_says(world: World, name: str) -> None:
    row = ROWS[name]
    address = world.address(name, row.needs)
    assert {who: outcome(world.ask(who, row.method, address)) for who in PEOPLE} == {
        who: getattr(row, who) for who in PEOPLE
    }


def outcome(response: HttpResponseBase) -> int | str:
    if response.status_code == MOVED and response.headers["Location"].startswith(reverse("people:sign-in")):
        return SIGN_IN
    return response.status_code


def text_of(response: HttpResponseBase) -> str:
    return response.content.decode() if isinstance(response, HttpResponse) else ""


@pytest.mark.parametrize("name", [name for name, row in ROWS.items() if row.nobody == SIGN_IN])
def test_neither_method_lets_a_stranger_in(world: World, name: str) -> None:
    address = world.address(name, ROWS[name].needs)
    for method in ("GET", "POST"):
        assert outcome(world.ask("nobody", method, address)) in (SIGN_IN, WRONG_METHOD)
        if ROWS[name].other == ABSENT:
            response = world.ask("other", method, address)
            assert response.status_code in (ABSENT, WRONG_METHOD)
            assert TITLE not in text_of(response)


@pytest.mark.parametrize(("name", "needs"), HIDDEN.items())
def test_what_is_not_out_yet_is_not_there_for_the_client(world: World, name: str, needs: str) -> None:
    row = ROWS[name]
    assert world.ask("client", row.method, world.address(name, needs)).status_code == ABSENT


@pytest.mark.parametrize(
    ("purpose", "target", "expected"),
    [
        ("source", "song", {"drummer": 201, "client": 201, "other": ABSENT, "nobody": REFUSED}),
        ("bounce", "source", {"drummer": 201, "client": 201, "other": ABSENT, "nobody": REFUSED}),
        # The drummer has the right, but this song is not being tracked yet.
        ("rough-mix", "song", {"drummer": UNPROCESSABLE, "client": REFUSED, "other": ABSENT, "nobody": REFUSED}),
        ("track", "open_delivery", {"drummer": 201, "client": ABSENT, "other": ABSENT, "nobody": REFUSED}),
        ("track", "delivery", {"client": REFUSED, "other": ABSENT, "nobody": REFUSED}),
    ],
)
def test_who_may_begin_an_upload(world: World, purpose: str, target: str, expected: dict[str, int]) -> None:
    (key,) = world.keys[target].values()
    texts = {"filename": "bass.wav", "purpose": purpose, "target": str(key)}
    metadata = ",".join(f"{name} {b64encode(text.encode()).decode()}" for name, text in texts.items())
    headers = {"Upload-Length": "10", "Upload-Metadata": metadata}
    address = reverse("uploads:create")
    assert {who: world.ask(who, "POST", address, **headers).status_code for who in expected} == expected


def test_files_wait_for_the_balance_where_it_was_agreed(world: World) -> None:
    Booking.objects.filter(title=TITLE).update(balance_before_files=True)
    for name in ("delivery:file", "delivery:zip"):
        address = world.address(name, ROWS[name].needs)
        statuses = {who: world.ask(who, "GET", address).status_code for who in ("drummer", "client", "other")}
        assert statuses == {"drummer": OK, "client": REFUSED, "other": ABSENT}


def test_lists_leave_out_what_is_another_client_s(world: World) -> None:
    for name in ("bookings:board", "mailroom:threads"):
        assert TITLE in text_of(world.ask("client", "GET", reverse(name)))
        assert TITLE not in text_of(world.ask("other", "GET", reverse(name)))


def test_the_support_pages_are_for_staff(world: World) -> None:
    for name in ("admin:index", "admin:people_user_changelist", "admin:bookings_booking_changelist"):
        for who in PEOPLE:
            response = world.ask(who, "GET", reverse(name))
            assert response.status_code == MOVED
            assert response.headers["Location"].startswith(reverse("admin:login"))

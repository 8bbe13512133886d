"""What the page at the kit is given and what it sends: once each, in order, and only the drummer's own."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import parse_qsl
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from portal.bookings.models import Song
from portal.kit.models import Balance, TakeLog
from portal.people.models import User
from portal.prep.models import HousePrep, SongPrep
from tests.factories import make_client, make_drummer, make_map, make_song

pytestmark = pytest.mark.django_db
BEGAN = datetime(2026, 3, 3, 19, 30, tzinfo=UTC)


@pytest.fixture
def song() -> Song:
    song = make_song(client=make_client(), stage="tracking", title="Lamp Oil Near Gate")
    make_map(song=song)
    return song


@pytest.fixture
def drummer(client: Client, song: Song) -> User:
    client.force_login(song.booking.created_by)
    return song.booking.created_by


def take(number: int, **fields: Any) -> dict[str, Any]:
    logged_at = (BEGAN + timedelta(minutes=number)).isoformat()
    return {"id": str(uuid4()), "number": number, "revision": 1, "logged_at": logged_at} | fields


def post(client: Client, name: str, song: Song, sent: Any) -> Any:
    body = sent if isinstance(sent, bytes | str) else json.dumps(sent)
    return client.post(reverse(name, args=[song.pk]), body, content_type="application/json")


def logged(song: Song) -> list[tuple[int, bool, str, bool]]:
    return list(song.take_logs.values_list("number", "is_kept", "word", "is_undone"))


def test_takes_that_are_sent_again_are_there_once_and_in_order(client: Client, drummer: User, song: Song) -> None:
    takes = [take(2), take(1), take(3)]
    post(client, "kit:takes", song, {"takes": takes[:2]})
    answer = post(client, "kit:takes", song, {"takes": takes})
    assert [one["number"] for one in answer.json()["takes"]] == [1, 2, 3]
    assert TakeLog.objects.count() == 3


def test_a_later_change_counts_and_an_earlier_one_that_comes_late_does_not(
    client: Client, drummer: User, song: Song
) -> None:
    first = take(1)
    changed = first | {"revision": 3, "is_kept": True, "word": "good fill"}
    for sent in (first, changed, first | {"revision": 2, "word": "older"}):
        assert post(client, "kit:takes", song, {"takes": [sent]}).status_code == 200
    assert logged(song) == [(1, True, "good fill", False)]


def test_a_take_taken_out_is_shown_no_more_and_not_lost(client: Client, drummer: User, song: Song) -> None:
    first = take(1)
    post(client, "kit:takes", song, {"takes": [first]})
    answer = post(client, "kit:takes", song, {"takes": [first | {"revision": 2, "is_undone": True}]})
    assert answer.json()["takes"] == []
    assert logged(song) == [(1, False, "", True)]


@pytest.mark.parametrize(
    "sent",
    [
        "no JSON",
        b"\xff\xfe",
        "[" * 100_000,
        "[]",
        {"takes": []},
        {"takes": "three"},
        {"takes": [take(1)] * 201},
        {"takes": ["one"]},
        {"takes": [take(0)]},
        {"takes": [take(1, id="1")]},
        {"takes": [take(1, logged_at="soon")]},
        {"takes": [take(1, logged_at=5)]},
        {"takes": [take(1, logged_at=["2026-03-03T19:30:00Z"])]},
        {"takes": [take(1, logged_at="9999-12-31T23:59:59-12:00")]},
        {"takes": [take(1, logged_at="0001-01-01T00:00:00+12:00")]},
        {"takes": [take(1, word="good\0fill")]},
        {"takes": [take(1, id=["a"])]},
        {"takes": [take(1) | {"number": {"a": 1}}]},
        {"takes": [take(1, word="x" * 81)]},
        {"takes": [take(1, revision=2**31)]},
        {"takes": [take(1), take(10_000)]},
    ],
)
def test_takes_that_cannot_be_read_get_a_sentence_and_none_is_logged(
    client: Client, drummer: User, song: Song, sent: Any
) -> None:
    answer = post(client, "kit:takes", song, sent)
    assert answer.status_code == 422
    assert answer.json()["sentence"].endswith(".")
    assert not TakeLog.objects.exists()


def test_a_take_of_another_song_or_drummer_stays_as_it_is(client: Client, drummer: User, song: Song) -> None:
    first, other = take(1), make_song(booking=song.booking)
    post(client, "kit:takes", song, {"takes": [first]})
    changed = {"takes": [first | {"revision": 2, "word": "mine"}]}
    assert post(client, "kit:takes", other, changed).status_code == 422
    client.force_login(make_drummer())
    assert post(client, "kit:takes", song, changed).status_code == 422
    assert logged(song) == [(1, False, "", False)]


def test_the_newest_balance_stands_for_its_drummer_alone(client: Client, drummer: User, song: Song) -> None:
    for minute, level in ((2, -6), (1, -20)):
        at = (BEGAN + timedelta(minutes=minute)).isoformat()
        answer = post(client, "kit:balance", song, {"levels": {"click": level}, "changed_at": at})
        assert answer.status_code == 200
    assert Balance.objects.get(song=song, drummer=drummer).levels["click"] == -6
    client.force_login(make_drummer())
    assert client.get(reverse("kit:song", args=[song.pk])).json()["balance"] is None


def test_a_clock_that_runs_ahead_does_not_hold_up_later_changes(client: Client, drummer: User, song: Song) -> None:
    ahead = (timezone.now() + timedelta(days=400)).isoformat()
    post(client, "kit:balance", song, {"levels": {"click": -6}, "changed_at": ahead})
    assert Balance.objects.get().changed_at <= timezone.now()


@pytest.mark.parametrize("sent", ["", {"levels": {}}, {"changed_at": "soon"}, {"changed_at": 5}])
def test_a_balance_without_its_time_is_refused(client: Client, drummer: User, song: Song, sent: Any) -> None:
    assert post(client, "kit:balance", song, sent).status_code == 422


def test_a_song_without_files_or_a_map_has_a_page(client: Client) -> None:
    song = make_song()
    client.force_login(song.booking.created_by)
    assert client.get(reverse("kit:page", args=[song.pk])).status_code == 200
    shown = client.get(reverse("kit:song", args=[song.pk])).json()
    assert (shown["lanes"], shown["bars"], shown["map_version"]) == ([], [], 0)


def test_what_is_kept_is_never_in_a_shared_cache(client: Client, drummer: User, song: Song) -> None:
    for name in ("kit:page", "kit:song"):
        assert client.get(reverse(name, args=[song.pk])).headers["Cache-Control"] == "private, no-store"


def test_a_new_map_has_a_new_version(client: Client, drummer: User, song: Song) -> None:
    make_map(song=song, bpm=100.0)
    shown = client.get(reverse("kit:song", args=[song.pk])).json()
    assert (shown["map_version"], shown["segments"][0]["bpm"]) == (2, 100.0)


def test_the_click_begins_as_chosen_for_the_prepared_one(client: Client, drummer: User, song: Song) -> None:
    plain = client.get(reverse("kit:song", args=[song.pk])).json()
    assert plain["click"] == {"subdivision": "beat", "bars_on": 1, "bars_off": 0, "accent_peak_dbfs": -12.0}
    HousePrep.objects.update_or_create(pk=1, defaults={"click_peak_dbfs": -18})
    SongPrep.objects.create(song=song, subdivision="triplet", bars_on=2, bars_off=2, click_sound="tick")
    shown = client.get(reverse("kit:song", args=[song.pk])).json()
    assert shown["click"] == {"subdivision": "triplet", "bars_on": 2, "bars_off": 2, "accent_peak_dbfs": -18.0}
    asked = dict(parse_qsl(shown["click_sounds"].partition("?")[2]))
    assert (asked["sound"], asked["peak"]) == ("tick", "-18")


def test_signing_out_clears_what_the_device_keeps(client: Client, drummer: User) -> None:
    """W3C Clear Site Data: "storage" holds caches, databases and service workers."""
    answer = client.post(reverse("people:sign-out"))
    assert answer.headers["Clear-Site-Data"] == '"cache", "storage"'

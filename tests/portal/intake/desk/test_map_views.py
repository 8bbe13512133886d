"""The tempo map under the drummer's hands: what the page is told, and what it keeps."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from portal.bookings.models import Song
from portal.bookings.stages import BookingStage
from portal.intake.maps import page as map_page
from portal.people.models import User
from tests.factories import make_map, make_song
from tests.portal.intake.conftest import DRIFT_BPM
from tests.portal.intake.reading import read, seen_now
from tests.portal.pages import flat

pytestmark = pytest.mark.django_db


@pytest.fixture
def song(played: Song) -> Song:
    return played


@pytest.fixture
def drummer(client: Client, song: Song) -> User:
    client.force_login(song.booking.created_by)
    return song.booking.created_by


def try_it(client: Client, song: Song, anchors: list[dict[str, Any]], last_bpm: object = "112") -> dict[str, Any]:
    body = json.dumps({"anchors": anchors, "last_bpm": last_bpm})
    response = client.post(reverse("intake:try-map", args=[song.pk]), body, content_type="application/json")
    answer: dict[str, Any] = response.json()
    assert response.status_code == (422 if "error" in answer else 200)
    return answer


def at(bar: int, time_s: float, meter: str = "4/4", *, ramps: bool = False) -> dict[str, Any]:
    return {"bar": bar, "time_s": time_s, "meter": meter, "ramps": ramps}


class TestTrying:
    def test_a_tempo_that_is_wrong_shows_as_a_slope_and_a_lean(self, client: Client, drummer: User, song: Song) -> None:
        """After 99 beats the playing is 99 × (60/111.9 - 60/112) = 47.4 ms late."""
        seen = try_it(client, song, [at(1, 2.0)])
        assert seen["dots"][0] == [2.0, 0.0, 1.0]
        assert seen["dots"][-1][1] == pytest.approx(47.4, abs=0.1)
        assert seen["stretches"][0]["late_ms"] == pytest.approx(23.7, abs=1.0)
        assert seen["stretches"][0]["attacks"] == 100
        assert seen["bars"][1]["time_s"] == pytest.approx(2 + 240 / 112)

    def test_a_pickup_is_counted_and_clicked(self, client: Client, drummer: User, song: Song) -> None:
        """Bar 0 of four beats at 120 lies 2 s before bar one: the ruler and the click begin there."""
        seen = try_it(client, song, [at(0, 0.0), at(1, 2.0)], last_bpm="120")
        assert [line["bar"] for line in seen["bars"][:3]] == [0, 1, 2]
        assert seen["beats_s"][:5] == [[0.0, 1], [0.5, 0], [1.0, 0], [1.5, 0], [2.0, 1]]

    def test_what_is_free_has_no_click_and_nothing_is_held_against_it(
        self, client: Client, drummer: User, song: Song
    ) -> None:
        """Bars 3 to 6 at 112: from 2 + 2 × 240/112 s to 2 + 6 × 240/112 s, of which the last counts in."""
        bar_s = 240 / 112
        free = at(3, 2 + 2 * bar_s) | {"free": True}
        seen = try_it(client, song, [at(1, 2.0), free, at(7, 2 + 6 * bar_s)])
        assert [line["bar"] for line in seen["bars"][:8]] == [1, 2, 3, 4, 5, 6, 7, 8]
        assert [line.get("free", False) for line in seen["bars"][:8]] == [False, False, *[True] * 4, False, False]
        assert not [one for one, _ in seen["beats_s"] if 2 + 2 * bar_s - 0.01 < one < 2 + 5 * bar_s - 0.01]
        assert not [dot for dot in seen["dots"] if 2 + 2 * bar_s < dot[0] < 2 + 6 * bar_s]
        assert seen["stretches"][1]["late_ms"] is None

    def test_a_second_anchor_on_the_playing_takes_the_slope_away(
        self, client: Client, drummer: User, song: Song
    ) -> None:
        seen = try_it(client, song, [at(1, 2.0), at(25, 2.0 + 96 * 60 / DRIFT_BPM)], last_bpm=DRIFT_BPM)
        assert seen["stretches"][0]["bpm"] == pytest.approx(DRIFT_BPM)
        assert seen["spread_ms"] == 0.0

    @pytest.mark.parametrize(
        ("anchors", "last_bpm", "words"),
        [
            ([], "112", "needs an anchor"),
            ([at(1, 2.0), at(1, 3.0)], "112", "does not come after"),
            ([at(1, 2.0, "4/5")], "112", "no note of 1/5"),
            ([at(1, 2.0)], "none", "a number is missing"),
            ([at(1, 2.0)], "0/0", "a number is missing"),
            ([{"bar": 1}], "112", "a number is missing"),
        ],
    )
    def test_what_makes_no_map_is_said(
        self, client: Client, drummer: User, song: Song, anchors: list[dict[str, Any]], last_bpm: str, words: str
    ) -> None:
        assert words in try_it(client, song, anchors, last_bpm)["error"]

    @pytest.mark.parametrize("body", ["", "[]", "7", '{"anchors": 5, "last_bpm": "1"}'])
    def test_nonsense_is_refused(self, client: Client, drummer: User, song: Song, body: str) -> None:
        response = client.post(reverse("intake:try-map", args=[song.pk]), body, content_type="application/json")
        assert response.status_code == 422


class TestKeeping:
    def test_it_is_a_new_version_exactly_as_made(self, client: Client, drummer: User, song: Song) -> None:
        made = {"anchors": [at(1, 2.0), at(5, 10.0, "2/4"), at(6, 11.0)], "last_bpm": "121"}
        data = {"map": json.dumps(made), "note": "the short bar", **seen_now(song)}
        page = client.post(reverse("intake:keep-map", args=[song.pk]), data, follow=True).content.decode()
        assert "approved (version 2)" in page
        kept = song.maps.first()
        assert kept is not None
        assert (kept.note, kept.approved_by) == ("the short bar", drummer)
        assert [(one["bar"], one["time_s"], one["bpm"], one["meter"]) for one in kept.map["segments"]] == [
            (1, 2.0, 120.0, "4/4"),
            (5, 10.0, 120.0, "2/4"),
            (6, 11.0, 121.0, "4/4"),
        ]
        assert "the short bar" in read(client, reverse("intake:map", args=[song.pk]))

    def keep(self, client: Client, song: Song, **fields: str) -> Any:
        made = {"anchors": [at(1, 2.5)], "last_bpm": "120"}
        data = {"map": json.dumps(made), **seen_now(song), **fields}
        return client.post(reverse("intake:keep-map", args=[song.pk]), data, follow=True)

    def test_a_map_begun_from_an_older_version_is_put_over_nothing(
        self, client: Client, drummer: User, song: Song
    ) -> None:
        make_map(song=song, bpm=113)
        response = self.keep(client, song, began="1", note="mine")
        assert response.status_code == 409
        assert song.maps.count() == 2
        page = response.content.decode()
        assert "Version 2 was approved by" in page
        assert response.context["start"]["anchors"] == [at(1, 2.5)]
        assert (response.context["seen_here"].began, response.context["note"]) == (2, "mine")
        assert "data-map-conflict" in page
        assert self.keep(client, song, began="2").status_code == 200
        assert song.maps.count() == 3
        assert self.keep(client, song, began="2").status_code == 200  # pressed twice it is one version, and no conflict
        assert song.maps.count() == 3

    @pytest.mark.parametrize("typed", ["3", ""])
    def test_on_a_conflict_the_count_in_stays_as_typed(
        self, client: Client, drummer: User, song: Song, typed: str
    ) -> None:
        make_map(song=song, bpm=113)
        song.maps.update(count_in_bars=1)
        response = self.keep(client, song, began="1", **{"count-in": typed})
        assert response.status_code == 409
        assert f'min="0" max="16" value="{typed}"' in flat(response.content.decode())

    def test_the_count_in_is_set_and_holds_for_later_versions(self, client: Client, drummer: User, song: Song) -> None:
        self.keep(client, song, **{"count-in": "1"})
        kept = song.maps.first()
        assert kept is not None
        assert kept.count_in_bars == 1
        assert 'name="count-in" class="short" min="0" max="16" value="1"' in read(
            client, reverse("intake:map", args=[song.pk])
        )
        self.keep(client, song, note="again")
        later = song.maps.first()
        assert later is not None
        assert later.count_in_bars == 1

    @pytest.mark.parametrize("said", ["17", "-1", "two", "999999"])
    def test_a_count_in_that_is_none_is_refused(self, client: Client, drummer: User, song: Song, said: str) -> None:
        assert "whole number up to 16" in self.keep(client, song, **{"count-in": said}).content.decode()
        assert song.maps.count() == 1

    @pytest.mark.parametrize("made", ["", "{", '{"anchors": [], "last_bpm": "1"}'])
    def test_what_makes_no_map_is_not_kept(self, client: Client, drummer: User, song: Song, made: str) -> None:
        page = client.post(
            reverse("intake:keep-map", args=[song.pk]), {"map": made, **seen_now(song)}, follow=True
        ).content.decode()
        assert "Not a valid tempo map" in page
        assert song.maps.count() == 1


def test_attacks_are_pooled_from_what_was_measured(on_desk: Song) -> None:
    """The stored features of the fixture's file are not there: no file with features, no attacks."""
    on_desk.sources.update(features_key="")
    assert len(map_page.attacks_of(on_desk).time_s) == 0


def test_a_song_without_a_map_begins_at_a_plain_one(client: Client) -> None:
    song = make_song()
    client.force_login(song.booking.created_by)
    assert client.get(reverse("intake:map", args=[song.pk])).context["start"] == {
        "anchors": [at(1, 0.0)],
        "last_bpm": "120",
    }


def test_in_a_booking_that_is_over_no_map_is_offered_to_be_approved(client: Client, drummer: User, song: Song) -> None:
    address = reverse("intake:map", args=[song.pk])
    form = re.compile(f"<form[^>]*{reverse('intake:keep-map', args=[song.pk])}[^>]*>")
    assert not form.findall(read(client, address))[0].endswith("hidden>")
    song.booking.move_to(BookingStage.CLOSED)

    page = read(client, address)
    assert "This booking is over: its map stays as it is, and nothing that is tried here is kept." in page
    assert form.findall(page)[0].endswith("hidden>")


@pytest.mark.parametrize(
    ("begin_from", "bpm"), [("", "104"), ("1", "98"), ("2", "104"), ("measured", "112"), ("7", "104"), ("x", "104")]
)
def test_an_earlier_version_or_what_is_measured_can_be_begun_from(
    client: Client, signed_in: User, on_desk: Song, begin_from: str, bpm: str
) -> None:
    for approved in (98.0, 104.0):
        make_map(song=on_desk, bpm=approved)
    response = client.get(reverse("intake:map", args=[on_desk.pk]), {"from": begin_from})
    assert response.context["start"]["last_bpm"] == bpm

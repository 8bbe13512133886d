from __future__ import annotations

import json
import re
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django.utils.html import strip_tags

from analysis.maps import TempoMap
from portal.bookings.models import Song
from portal.bookings.stages import BookingStage, SongStage
from portal.intake.checks import jobs, services
from portal.intake.desk.queue_filter import Look
from portal.intake.desk.queue_page import queue_page
from portal.intake.errors import BookingOverError
from portal.intake.models import Finding, SetAside
from portal.mailroom.models import Question
from portal.people.models import User
from tests.factories import (
    make_booking,
    make_check,
    make_client,
    make_finding,
    make_question,
    make_song,
    measured_song,
)
from tests.portal.intake.reading import read, seen_now
from tests.portal.intake.telling import asking, tell

pytestmark = pytest.mark.django_db


@pytest.fixture
def song(on_desk: Song) -> Song:
    return on_desk


class TestAccess:
    def test_the_desk_is_the_drummer_s(self, client: Client) -> None:
        assert client.get("/desk/")["Location"].startswith("/sign-in/")
        client.force_login(make_client())
        assert client.get("/desk/").status_code == 403

    @pytest.mark.parametrize("name", ["sheet", "approve", "overrule", "ready", "check-again"])
    def test_a_client_may_not_decide_and_an_outsider_finds_nothing(self, client: Client, song: Song, name: str) -> None:
        path = reverse(f"intake:{name}", args=[song.pk])
        method = client.get if name == "sheet" else client.post

        assert method(path)["Location"].startswith("/sign-in/")
        client.force_login(song.booking.members.get().user)
        assert method(path).status_code == 403
        client.force_login(make_client())
        assert method(path).status_code == 404

    def test_findings_and_held_messages_are_the_drummer_s(self, client: Client, song: Song) -> None:
        finding, question = make_finding(song=song), make_question(song=song)
        paths = [reverse("intake:waive", args=[finding.pk]), reverse("intake:send-held", args=[question.message_id])]

        for path in paths:
            client.force_login(song.booking.members.get().user)
            assert client.post(path).status_code == 403
            client.force_login(make_client())
            assert client.post(path).status_code == 404
            assert client.get(path).status_code == 405

    @pytest.mark.parametrize("name", ["approve", "overrule", "ready", "check-again"])
    def test_decisions_are_posted(self, client: Client, signed_in: User, song: Song, name: str) -> None:
        assert client.get(reverse(f"intake:{name}", args=[song.pk])).status_code == 405


class TestDesk:
    def test_an_empty_desk_says_what_happens_next(self, client: Client, signed_in: User) -> None:
        page = read(client, "/desk/")

        assert "The desk is empty" in page
        assert "measured automatically" in page

    def test_a_row_says_booking_client_what_stops_it_since_when_and_due(
        self, client: Client, signed_in: User, song: Song
    ) -> None:
        song.booking.due_on = date(2027, 3, 5)
        song.booking.save()
        make_finding(song=song, code="clipped", source=song.sources.get())

        page = read(client, "/desk/")

        for words in (song.booking.title, "Mara Quillfen", "Clipped peaks", "Stop", "since today", "5 Mar 2027"):
            assert words in strip_tags(page)
        assert f'href="/songs/{song.pk}/sheet/"' in page

    def test_stops_come_first_then_questions_then_the_rest_by_due_date(self, client: Client, signed_in: User) -> None:
        def on_desk(title: str, due_on: date | None = None) -> Song:
            return make_song(booking=make_booking(due_on=due_on), title=title, stage=SongStage.ON_DESK)

        on_desk("Fifth", date(2027, 2, 2))
        on_desk("Fourth", date(2027, 2, 1))
        make_finding(song=on_desk("Third", date(2027, 1, 1)), code="no-click")
        make_finding(song=on_desk("Second"), code="clipped")
        make_finding(song=on_desk("First", date(2027, 6, 1)), code="no-music")

        page = read(client, "/desk/")

        titles = ["First", "Second", "Third", "Fourth", "Fifth"]
        assert sorted(titles, key=page.index) == titles

    def test_settled_findings_and_songs_past_intake_are_not_on_it(
        self, client: Client, signed_in: User, song: Song
    ) -> None:
        make_finding(song=song, code="clipped", state=Finding.State.WAIVED)
        make_song(title="At work", stage=SongStage.TRACKING)

        page = read(client, "/desk/")

        assert "Clipped peaks" not in page
        assert "At work" not in page

    def test_a_booking_that_is_over_is_not_on_it(self, client: Client, signed_in: User, song: Song) -> None:
        song.booking.stage = BookingStage.CANCELLED
        song.booking.save()

        assert "The desk is empty" in read(client, "/desk/")

    def test_it_refreshes_itself_with_the_part_alone(self, client: Client, signed_in: User, song: Song) -> None:
        part = client.get("/desk/", headers={"HX-Request": "true"}).content.decode()

        assert "<html" not in part
        assert 'hx-trigger="every 15s"' in part

    def test_it_makes_the_same_queries_for_3_songs_as_for_300(
        self, client: Client, signed_in: User, django_assert_max_num_queries: Any
    ) -> None:
        counts = []
        for number in (3, 297):
            flagged_songs(number)
            with django_assert_max_num_queries(50) as queries:
                read(client, "/desk/")
            counts.append(len(queries))

        assert counts[0] == counts[1]


def flagged_songs(number: int) -> None:
    booking = make_booking(client=make_client())
    last = booking.songs.count()
    songs = Song.objects.bulk_create(
        Song(booking=booking, title=f"Song {place}", position=last + place + 1, stage=SongStage.ON_DESK)
        for place in range(number)
    )
    Finding.objects.bulk_create(Finding(song=song, code="no-click", severity="ask") for song in songs)


class TestDecisions:
    def test_approve_then_ready(self, client: Client, signed_in: User, song: Song) -> None:
        client.post(f"/songs/{song.pk}/approve/", seen_now(song))
        assert "Ready to track <kbd" in read(client, f"/songs/{song.pk}/sheet/")

        client.post(f"/songs/{song.pk}/ready/")

        song.refresh_from_db()
        assert song.stage == SongStage.READY

    def test_nothing_to_approve_is_said(self, client: Client, signed_in: User) -> None:
        song = make_song()

        page = client.post(f"/songs/{song.pk}/approve/", follow=True).content.decode()

        assert "Nothing has been measured yet." in page

    def test_overrule_sets_the_figures(self, client: Client, signed_in: User, song: Song) -> None:
        data = {"bpm": "98,5", "meter": "6/8", "bar_one_s": "1.25", "note": "ear"}

        client.post(f"/songs/{song.pk}/overrule/", data | seen_now(song))

        assert song.maps.get().map["segments"] == [{"bar": 1, "time_s": 1.25, "bpm": 98.5, "meter": "6/8"}]

    @pytest.mark.parametrize("wrong", [{"bpm": "0"}, {"bpm": "abc"}, {"meter": "4"}, {"bar_one_s": "-11"}, {"bpm": ""}])
    def test_figures_that_make_no_map_come_back_with_a_sentence(
        self, client: Client, signed_in: User, song: Song, wrong: dict[str, str]
    ) -> None:
        data = {"bpm": "112", "meter": "4/4", "bar_one_s": "0"} | wrong

        response = client.post(f"/songs/{song.pk}/overrule/", data)

        assert response.status_code == 422
        assert "errorlist" in response.content.decode()
        assert not song.maps.exists()

    def test_a_gate_says_every_reason(self, client: Client, signed_in: User, song: Song) -> None:
        make_finding(song=song, code="no-music")

        page = client.post(f"/songs/{song.pk}/ready/", follow=True).content.decode()

        assert page.count("Blocked by: no music.") == 3  # in the notice, at the gate, and for the key
        assert page.count("No tempo map with bar one is approved.") == 2

    def test_a_finding_is_waived_with_a_reason_only(self, client: Client, signed_in: User, song: Song) -> None:
        finding = make_finding(song=song, code="no-music")
        path = reverse("intake:waive", args=[finding.pk])

        assert "Enter a reason" in client.post(path, {"reason": " "}, follow=True).content.decode()
        assert "Waived by" in client.post(path, {"reason": "I hear it"}, follow=True).content.decode()

    def test_check_again_measures_again(self, client: Client, signed_in: User, song: Song) -> None:
        client.post(f"/songs/{song.pk}/check/")

        song.refresh_from_db()
        assert song.stage == SongStage.CHECKING

    def test_check_again_says_where_there_is_nothing_to_check(self, client: Client, signed_in: User) -> None:
        page = client.post(f"/songs/{make_song().pk}/check/", follow=True).content.decode()

        assert "There are no files to check." in page

    def test_in_a_booking_that_is_over_nothing_is_decided_and_no_press_offered(
        self, client: Client, signed_in: User, song: Song
    ) -> None:
        finding, sent = make_finding(song=song, code="no-music"), seen_now(song)
        song.booking.stage = BookingStage.CANCELLED
        song.booking.save()
        figures = {"bpm": "98.5", "meter": "4/4", "bar_one_s": "0"}
        by_hand = '{"bar_one_s": 0, "segments": [{"bar": 1, "time_s": 0, "bpm": 98.5, "meter": "4/4"}]}'
        presses: list[tuple[str, str | int, dict[str, str]]] = [
            ("approve", song.pk, sent),
            ("overrule", song.pk, sent | figures),
            ("waive", finding.pk, {"reason": "I hear it"}),
            ("set-aside", song.pk, {}),
            ("check-again", song.pk, {}),
        ]
        for name, key, data in presses:
            page = client.post(reverse(f"intake:{name}", args=[key]), data, follow=True).content.decode()
            assert "This booking is over: its songs stay as they are." in page, name
        with pytest.raises(BookingOverError):
            services.approve_map(song=song, by=signed_in, found=TempoMap.from_json(json.loads(by_hand)))

        song.refresh_from_db()
        finding.refresh_from_db()
        assert (song.maps.count(), song.stage, finding.state) == (0, SongStage.ON_DESK, Finding.State.OPEN)
        assert not SetAside.objects.exists()
        page = read(client, f"/songs/{song.pk}/sheet/")
        assert "This booking is cancelled: its songs stay as they are." in page
        assert re.findall('<form[^>]* action="([^"]*)"', page.partition("<main")[2]) == [
            reverse("mailroom:write", args=[song.booking_id])
        ]

    def test_a_held_question_goes_out(self, client: Client, signed_in: User, song: Song) -> None:
        question = make_question(song=song, state=Question.State.HELD)

        page = client.post(reverse("intake:send-held", args=[question.message_id]), follow=True).content.decode()

        question.refresh_from_db()
        assert question.state == Question.State.OPEN
        assert "The questions are sent to the client." in page

    def test_what_is_not_held_any_more_is_not_said_to_be_sent(
        self, client: Client, signed_in: User, song: Song
    ) -> None:
        question = make_question(song=song, state=Question.State.MOOT)

        page = client.post(reverse("intake:send-held", args=[question.message_id]), follow=True).content.decode()

        assert "Nothing is held back here any more: nothing is sent." in page


def test_whole_course_at_the_desk(client: Client, signed_in: User, song: Song) -> None:
    """Asked, answered, measured again, approved, ready: one line in the timeline for each move."""
    Song.objects.filter(pk=song.pk).update(stage=SongStage.CHECKING, turn_since=timezone.now() - timedelta(hours=1))
    make_check(song=song, report=measured_song("no-click", "no-tempo"))
    jobs.measure(song.pk)
    tell(asking(song), "bpm=112", by=song.booking.members.get().user)
    make_check(song=song)
    jobs.measure(song.pk)
    client.post(f"/songs/{song.pk}/approve/", seen_now(song))
    client.post(f"/songs/{song.pk}/ready/")

    song.refresh_from_db()
    assert song.stage == SongStage.READY
    assert list(song.timeline.values_list("text", flat=True))[1:] == [
        "“Thursday Ladder Behind Soup: tempo and click” was sent",
        "the check is done: the client has a question to answer",
        "answered “112 bpm is right”",
        "wrote the brief",
        "the files are being checked",
        "the check is done: the song is on the desk",
        "approved the tempo map as measured (version 1)",
        "marked the song ready to track",
    ]


def test_within_a_rank_what_a_drummer_can_act_on_comes_first(signed_in: User) -> None:
    for turn in ("nobody", "house", "client", "drummer"):
        make_song(stage=SongStage.ON_DESK, turn=turn)

    assert [row.song.turn for row in queue_page(signed_in, Look()).rows] == ["drummer", "client", "house", "nobody"]

"""The song sheet as its drummer reads it."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from analysis.core.reports import Alternative, MapSegment
from analysis.maps.tempo_map import TempoMap
from portal.bookings.models import Song
from portal.intake.checks import services
from portal.intake.checks.song_facts import note_facts
from portal.intake.desk.sheet_page import meter_words, tempo_words
from portal.mailroom.models import Question
from portal.people.models import User
from tests.factories import (
    make_check,
    make_client,
    make_finding,
    make_map,
    make_question,
    make_song,
    make_source,
    measured_song,
)
from tests.portal.intake.reading import read, seen_now

pytestmark = pytest.mark.django_db


@pytest.fixture
def song(on_desk: Song) -> Song:
    return on_desk


class TestSheet:
    def test_what_was_said_stands_beside_what_was_measured(self, client: Client, signed_in: User, song: Song) -> None:
        song.brief.bpm = Decimal("113.5")
        song.brief.meter = "3/4"
        song.brief.save()

        page = read(client, f"/songs/{song.pk}/sheet/")

        for words in ("112 bpm", "111.998 to 112.002", "113.5 bpm", "3/4", "0:02.000", "frame 96000", "97\u00a0%"):
            assert words in page

    def test_a_finding_shows_its_place_in_bars_and_leads_the_score_there(
        self, client: Client, signed_in: User, song: Song
    ) -> None:
        source = song.sources.get()
        # Bar one at 2 s, 4 beats of 60/112 s: bar 15 begins at 2 + 14 * 4 * 60 / 112 = 32 s.
        value = {"places": 3, "runs": 40, "level_dbfs": -0.1, "longest_frames": 12}
        make_finding(song=song, code="clipped", source=source, place={"time_s": 32.0}, value=value)

        page = read(client, f"/songs/{song.pk}/sheet/")

        assert "at bar 15 beat 1 (0:32)" in page
        assert 'data-go-s="32.000000"' in page

    def test_a_finding_s_bar_is_that_of_the_map_that_holds_now(
        self, client: Client, signed_in: User, song: Song
    ) -> None:
        """Measured in bar 15; approved: 120 from 0 s (bars of 2 s), free from bar 11, at 20 s, for four bars of 5 s. At
        32 s it is in the third of them."""
        approved = make_map(song=song, bpm=120.0, bar_one_s=0.0)
        approved.map["segments"] += [
            {"bar": 11, "time_s": 20.0, "bpm": 48.0, "meter": "4/4", "free": True},
            {"bar": 15, "time_s": 40.0, "bpm": 120.0, "meter": "4/4"},
        ]
        approved.save()
        value = {"places": 3, "runs": 40, "level_dbfs": -0.1, "longest_frames": 12}
        place = {"time_s": 32.0, "bar": 15, "beat": 1.0}
        make_finding(song=song, code="clipped", place=place, value=value)
        page = read(client, f"/songs/{song.pk}/sheet/")
        assert "at bar 13 (0:32)" in page
        assert "at bar 15" not in page
        assert "3 segments, 1 free passage" in page

    def test_a_song_without_files_or_with_a_refused_one_has_a_sheet(self, client: Client, signed_in: User) -> None:
        song = make_song()
        assert "Nothing has been measured yet" in read(client, f"/songs/{song.pk}/sheet/")

        make_source(song=song, status="refused", report=None, features_key="", refusal="It is a text file.")
        assert "It is a text file." in read(client, f"/songs/{song.pk}/sheet/")

    def test_a_check_that_found_no_tempo_offers_to_set_it_by_hand(
        self, client: Client, signed_in: User, song: Song
    ) -> None:
        make_check(song=song, report=measured_song("no-tempo", bpm=None))

        page = read(client, f"/songs/{song.pk}/sheet/")

        assert "no steady tempo" in page
        assert "<details open>" in page

    def test_held_messages_can_be_sent_from_it(self, client: Client, signed_in: User, song: Song) -> None:
        question = make_question(song=song, state=Question.State.HELD)

        assert reverse("intake:send-held", args=[question.message_id]) in read(client, f"/songs/{song.pk}/sheet/")


class TestAlternatives:
    @pytest.fixture
    def two_ways(self, song: Song) -> Song:
        report = measured_song()
        other = Alternative(bpm=168.0004, weight=0.2, meter="6/8", bar_one_s=2.5, label="three against two")
        tempo = replace(report.song.tempo, alternatives=(other,))
        make_check(song=song, report=replace(report, song=replace(report.song, tempo=tempo)))
        return song

    def test_another_reading_is_one_press(self, client: Client, signed_in: User, two_ways: Song) -> None:
        page = read(client, f"/songs/{two_ways.pk}/sheet/")

        assert "It is 168 bpm (dotted quarter), 6/8" in page
        assert "(three against two, 20 %)" in page
        for name, value in (("bpm", "168.0004"), ("meter", "6/8"), ("bar_one_s", "2.500000")):
            assert f'<input type="hidden" name="{name}" value="{value}">' in page

    def test_what_was_approved_fills_the_form_and_stands_beside(
        self, client: Client, signed_in: User, two_ways: Song
    ) -> None:
        data = {"bpm": "168", "meter": "6/4", "bar_one_s": "2.5", "note": "another"}
        client.post(f"/songs/{two_ways.pk}/overrule/", data | seen_now(two_ways))

        page = read(client, f"/songs/{two_ways.pk}/sheet/")

        assert "version 1, set by hand, by" in page
        assert 'value="168"' in page
        assert "0:02.500" in page


class TestMovingMaps:
    @pytest.fixture
    def moving(self, song: Song) -> Song:
        """From 100 BPM over four bars of 4/4 to 120, and another reading that is one straight grid."""
        report = measured_song()
        tempo = replace(report.song.tempo, kind="map", alternatives=(Alternative(bpm=56, weight=0.0, label="half"),))
        parts = (MapSegment(1, 2.0, 100, "4/4"), MapSegment(5, 2.0 + 16 * 60 / 100, 120, "4/4"))
        make_check(song=song, report=replace(report, song=replace(report.song, tempo=tempo, tempo_map=parts)))
        return song

    def test_no_one_press_puts_a_straight_grid_in_its_place(
        self, client: Client, signed_in: User, moving: Song
    ) -> None:
        page = read(client, f"/songs/{moving.pk}/sheet/")
        assert "Approve as measured: 100.0 to 120.0 bpm, 2 segments, 4/4" in page
        assert "It is 56 bpm" not in page
        assert "replace the map with changing tempo" in page

    def test_odd_bars_do_not_move_the_tempo(self) -> None:
        segments = [
            {"bar": 1, "time_s": 0.0, "bpm": 126, "meter": "4/4"},
            {"bar": 9, "time_s": 32 * 60 / 126, "bpm": 126, "meter": "2/4"},
            {"bar": 10, "time_s": 34 * 60 / 126, "bpm": 126, "meter": "4/4"},
        ]
        tempo_map = TempoMap.from_json({"segments": segments})
        assert tempo_words(tempo_map) == "126 bpm, 3 segments"
        assert meter_words(tempo_map) == "4/4, 2/4"


def test_the_form_carries_a_tempo_as_fine_as_it_is_kept(client: Client, signed_in: User, song: Song) -> None:
    """Sent back as it came, 111.70049 BPM stays what it is: rounded to 111.7 a song of five minutes ends 1.3 ms off."""
    make_map(song=song, bpm=111.70049)
    page = read(client, f"/songs/{song.pk}/sheet/")
    assert 'value="111.70049"' in page
    assert "111.7 bpm" in page


def test_what_is_approved_as_measured_is_not_offered_again(client: Client, signed_in: User, song: Song) -> None:
    make_check(song=song)
    assert "Approve as measured" in read(client, f"/songs/{song.pk}/sheet/")
    services.approve(song=song, by=signed_in)
    page = read(client, f"/songs/{song.pk}/sheet/")
    assert "Approve as measured" not in page
    assert "Approved as measured, version 1" in page
    assert f"/songs/{song.pk}/chart/" in page
    assert f"/kit/{song.pk}/" in page


@pytest.mark.parametrize("is_current", [False, True])
def test_the_key_approves_only_what_is_not_approved_yet(
    client: Client, signed_in: User, song: Song, *, is_current: bool
) -> None:
    check = make_check(song=song, report=measured_song())
    make_map(song=song)
    song.maps.update(check_seen=check if is_current else None)
    note_facts(song)
    page = read(client, f"/songs/{song.pk}/sheet/")
    assert ('aria-keyshortcuts="A"' in page) is not is_current
    assert ("is approved already" in page) is is_current
    words = "Tempo and bar one are approved" if is_current else "approve tempo and bar one"
    assert words in read(client, "/desk/")


def test_the_client_s_notes_stand_beside_the_figures(client: Client, signed_in: User, song: Song) -> None:
    song.brief.notes = "A bar of 2/4 after the first eight."
    song.brief.save()
    make_check(song=song, report=measured_song())
    assert "A bar of 2/4 after the first eight." in read(client, f"/songs/{song.pk}/sheet/")


def test_a_finding_s_place_is_a_button_that_the_score_follows(client: Client, signed_in: User, on_desk: Song) -> None:
    make_finding(
        song=on_desk, code="bar-one-late", place={"time_s": 3.5}, value={"said": "at bar one", "bar_one_s": 3.5}
    )
    make_finding(song=on_desk, code="no-click")
    page = read(client, f"/songs/{on_desk.pk}/sheet/")
    assert page.count('data-go-s="3.500000"') == 1


def test_a_finding_says_what_became_of_asking_about_it(client: Client, signed_in: User, on_desk: Song) -> None:
    question = make_question(song=on_desk, state=Question.State.OPEN)
    make_finding(song=on_desk, code="no-click", question=question)
    sheet = reverse("intake:sheet", args=[on_desk.pk])
    advice = "Ask for the click"

    page = read(client, sheet)
    assert "Asked, and waiting for the answer since" in page
    assert advice not in page

    answer = {"code": "keep", "label": "Use the files as they are"}
    question.save_answer(answer, by=make_client(name="Odile Brankvist"))
    assert "Use the files as they are”. Waive" not in read(client, sheet)  # it can still be changed
    question.send()
    page = read(client, sheet)
    assert "Odile Brankvist answered: “Use the files as they are”. Waive it if that settles it." in page
    assert 'value="Odile Brankvist: Use the files as they are"' in page
    assert advice not in page

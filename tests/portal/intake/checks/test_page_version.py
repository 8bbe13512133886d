"""Decisions on a tempo map from a page that is not what holds any more."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from analysis.core.reports import Alternative
from analysis.maps.tempo_map import TempoMap
from portal.bookings.models import Song
from portal.intake.checks import services
from portal.intake.checks.page_version import Seen
from portal.intake.errors import MapChangedError
from portal.intake.models import ApprovedMap, SongCheck, Tapping
from portal.people.models import User
from tests.factories import make_check, make_drummer, make_map, make_source, measured_song
from tests.portal.intake.reading import read, seen_now

pytestmark = pytest.mark.django_db
FIGURES = {"bpm": "98.5", "meter": "6/8", "bar_one_s": "1.25", "note": "by ear"}
MADE = {"map": json.dumps({"anchors": [{"bar": 1, "time_s": 2.5, "meter": "4/4"}], "last_bpm": "120"})}
DECISIONS = [("approve", {}), ("overrule", FIGURES), ("keep-map", MADE)]


@pytest.fixture
def song(on_desk: Song) -> Song:
    """Its file's features are not in the store: the map page reads none."""
    on_desk.sources.update(features_key="")
    make_check(song=on_desk)
    return on_desk


def measured_anew(song: Song) -> SongCheck:
    make_source(song=song, name="bass v2.wav", features_key="")
    return make_check(song=song, report=measured_song(bpm=56.0))


@pytest.mark.parametrize(("name", "data"), DECISIONS)
class TestStalePages:
    def test_what_was_measured_since_is_not_approved_unseen(
        self, client: Client, signed_in: User, song: Song, name: str, data: dict[str, str]
    ) -> None:
        sent = data | seen_now(song)
        newer = measured_anew(song)

        response = client.post(reverse(f"intake:{name}", args=[song.pk]), sent)

        assert response.status_code == 409
        assert "was measured again while this page was open" in response.content.decode()
        assert not song.maps.exists()
        assert f'name="check" value="{newer.pk}"' in response.content.decode()
        assert client.post(reverse(f"intake:{name}", args=[song.pk]), data | seen_now(song)).status_code == 302
        assert song.maps.get().check_seen == newer

    def test_what_another_drummer_approved_since_stays(
        self, client: Client, signed_in: User, song: Song, name: str, data: dict[str, str]
    ) -> None:
        sent = data | seen_now(song)
        theirs = services.approve_map(song=song, by=make_drummer(name="Ines"), found=TempoMap.constant("111.7"))

        response = client.post(reverse(f"intake:{name}", args=[song.pk]), sent)

        assert response.status_code == 409
        assert "Version 1 was approved by Ines" in response.content.decode()
        assert ApprovedMap.objects.get() == theirs

    def test_a_form_that_says_nothing_of_what_it_showed_decides_nothing(
        self, client: Client, signed_in: User, song: Song, name: str, data: dict[str, str]
    ) -> None:
        assert client.post(reverse(f"intake:{name}", args=[song.pk]), data).status_code == 409
        assert not song.maps.exists()

    def test_pressed_twice_it_is_one_version(
        self, client: Client, signed_in: User, song: Song, name: str, data: dict[str, str]
    ) -> None:
        sent = data | seen_now(song)
        for _ in range(2):
            assert client.post(reverse(f"intake:{name}", args=[song.pk]), sent).status_code == 302
        assert song.maps.count() == 1


def test_figures_that_were_typed_stand_in_the_form_again(client: Client, signed_in: User, song: Song) -> None:
    sent = FIGURES | seen_now(song)
    measured_anew(song)

    page = client.post(reverse("intake:overrule", args=[song.pk]), sent).content.decode()

    assert "Your values are under “Set by hand”" in page
    for typed in FIGURES.values():
        assert f'value="{typed}"' in page
    assert re.search(r"<details open>\s*<summary>Set by hand", page)


@pytest.fixture
def with_every_form(song: Song, signed_in: User) -> Song:
    """Another reading, taps that agree with what was measured, and a client who wants twice the tempo."""
    report = measured_song()
    tempo = replace(report.song.tempo, alternatives=(Alternative(bpm=168.0, weight=0.2),))
    make_check(song=song, report=replace(report, song=replace(report.song, tempo=tempo)))
    kept = make_map(song=song)
    Tapping.objects.create(song=song, by=signed_in, taps_s=[n * 60 / 112 for n in range(16)])
    song.excerpts.create(asked_by=signed_in, map=kept.map, first_bar=3, state="answered", answer="twice", key="x")
    return song


def test_every_form_that_decides_says_what_its_page_showed(
    client: Client, signed_in: User, with_every_form: Song
) -> None:
    song, seen = with_every_form, seen_now(with_every_form)
    pages = read(client, reverse("intake:sheet", args=[song.pk])) + read(client, reverse("intake:map", args=[song.pk]))
    forms = re.findall(r'<form[^>]*action="[^"]*/(approve|overrule|map/keep)/"[^>]*>(.*?)</form>', pages, re.DOTALL)
    assert [action for action, _ in forms] == ["approve", *["overrule"] * 4, "map/keep"]
    for _, form in forms:
        for name, value in seen.items():
            assert f'<input type="hidden" name="{name}" value="{value}">' in form


def test_what_taps_say_is_of_the_page_that_they_were_tapped_on(client: Client, signed_in: User, song: Song) -> None:
    """The part alone comes again, the page around it does not: it is still the page of the check before."""
    taps = {"taps_s": json.dumps([n * 60 / 112 for n in range(16)]), "per_beat": "1"}
    before = seen_now(song)
    make_source(song=song, name="bass v2.wav", features_key="")
    make_check(song=song)

    part = client.post(
        reverse("intake:taps", args=[song.pk]), taps | before, headers={"HX-Request": "true"}
    ).content.decode()

    assert f'name="check" value="{before["check"]}"' in part


def test_a_count_in_of_another_is_not_put_aside_unseen(song: Song, drummer: User) -> None:
    seen, found = Seen.now(song), TempoMap.constant(112)
    services.approve_map(song=song, by=drummer, found=found, count_in_bars=4, seen=seen)

    with pytest.raises(MapChangedError):
        services.approve_map(song=song, by=drummer, found=found, count_in_bars=2, seen=seen)


def test_without_a_page_nothing_is_held_against_it(song: Song, drummer: User) -> None:
    for bpm in (100, 101):
        services.overrule(song=song, by=drummer, bpm=Decimal(bpm), meter="4/4", bar_one_s=Decimal(0))
    assert song.maps.count() == 2


@pytest.mark.parametrize("text", ["", "-1", "1.5", "one", "²", "9" * 30])
def test_a_field_that_is_no_number_has_shown_nothing(text: str) -> None:
    assert Seen.by({"check": text, "began": text}) == Seen()

from __future__ import annotations

import json

import pytest
from django.test import Client
from django.urls import reverse

from portal.bookings.models import Song
from portal.listening.models import Excerpt
from portal.people.models import User

pytestmark = pytest.mark.django_db


def test_the_sheet_asks_and_shows_what_was_answered(client: Client, song: Song, drummer: User, mara: User) -> None:
    client.force_login(drummer)
    page = client.post(reverse("listening:ask", args=[song.pk]), {"first_bar": "5", "note": ""}, follow=True)
    assert "8 bars from bar 5 are made playable, then sent" in page.content.decode()
    Excerpt.objects.update(state="answered", answer="twice", answered_by=mara, answered_at="2027-01-01T10:00Z")
    page = client.get(reverse("intake:sheet", args=[song.pk]))
    assert "It should click twice as fast" in page.content.decode()
    assert ">Take 224 bpm</button>" in page.content.decode()


@pytest.mark.parametrize(
    ("bar", "words"), [("", "Enter the first bar"), ("x", "a bar number"), ("99", "ends before bar")]
)
def test_a_bar_that_is_none_is_said(client: Client, song: Song, drummer: User, bar: str, words: str) -> None:
    client.force_login(drummer)
    page = client.post(reverse("listening:ask", args=[song.pk]), {"first_bar": bar}, follow=True).content.decode()
    assert words in page
    assert not Excerpt.objects.exists()


def test_the_client_finds_it_on_the_song_s_page_listens_and_answers(
    client: Client, song: Song, mara: User, out: Excerpt
) -> None:
    client.force_login(mara)
    assert "Listen and answer" in client.get(song.get_absolute_url()).content.decode()
    page = client.get(out.get_absolute_url()).content.decode()
    for words in (
        "Yes, this is right",
        "twice as fast",
        "Tap beat one",
        "The fill, I mean.",
        "112 bpm",
        "Your turn",
    ):
        assert words in page
    assert 'class="turn yours"' in page
    assert f'class="button" href="{song.get_absolute_url()}#listening"' not in page  # it is done here
    sound = client.get(reverse("listening:audio", args=[out.pk]))
    assert b"".join(sound.streaming_content)[:4] == b"fLaC"  # type: ignore[attr-defined]  # RFC 9639, section 6

    answer = {"answer": "elsewhere", "taps_s": json.dumps([6.8, 9.0, "x", None, True, 1e999])}
    page = client.post(reverse("listening:answer", args=[out.pk]), answer, follow=True).content.decode()
    assert "has your answer" in page
    out.refresh_from_db()
    assert out.taps_s == [6.8, 9.0]
    assert "the taps are" in client.get(out.get_absolute_url()).content.decode()


def test_the_player_counts_on_the_excerpt_s_own_clock(client: Client, mara: User, out: Excerpt) -> None:
    client.force_login(mara)
    shown = client.get(out.get_absolute_url()).context["shown"]
    assert json.loads(shown.map_json)["segments"] == [
        {"bar": 3, "time_s": pytest.approx(0.5), "bpm": 112.0, "meter": "4/4"}
    ]


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        ({"answer": "other"}, "Describe what"),
        ({"answer": "elsewhere", "taps_s": "[]"}, "Where is beat one? Play the bars and tap along, or describe it."),
        ({"answer": "nonsense"}, ""),
        ({"answer": "right", "taps_s": "{"}, ""),
    ],
)
def test_an_answer_that_says_nothing_is_asked_again_and_broken_taps_are_no_taps(
    client: Client, mara: User, out: Excerpt, answer: dict[str, str], words: str
) -> None:
    client.force_login(mara)
    response = client.post(reverse("listening:answer", args=[out.pk]), answer)
    assert words in response.content.decode()
    assert response.status_code == (302 if answer["answer"] == "right" else 422)


def test_answered_late_it_is_said(client: Client, mara: User, out: Excerpt) -> None:
    Excerpt.objects.update(state="withdrawn")
    client.force_login(mara)
    page = client.post(reverse("listening:answer", args=[out.pk]), {"answer": "right"}, follow=True).content.decode()
    assert "no longer needs an answer" in page


def test_what_is_not_made_yet_cannot_be_heard(client: Client, song: Song, drummer: User) -> None:
    excerpt = Excerpt.objects.create(song=song, asked_by=drummer, map=song.maps.get().map, first_bar=1)
    client.force_login(drummer)
    assert client.get(reverse("listening:audio", args=[excerpt.pk])).status_code == 404
    assert "Being made" in client.get(excerpt.get_absolute_url()).content.decode()

"""What is found, by whom, and that whatever is typed is text."""

from __future__ import annotations

import unicodedata
from importlib import import_module

import pytest
from django.apps import apps
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from portal.bookings.models import Booking, Song
from portal.delivery.models import Delivery
from portal.mailroom.models import Message, Question
from portal.people.models import User
from portal.search.page import MOST_OF_EACH, MOST_ON_A_PAGE
from portal.takes.models import RoughMix
from tests.factories import (
    make_booking,
    make_client,
    make_delivery,
    make_drummer,
    make_message,
    make_rough_mix,
    make_song,
    make_source,
    make_track,
)

pytestmark = pytest.mark.django_db


def find(user: User, query: str, **more: str) -> str:
    browser = Client()
    browser.force_login(user)
    response = browser.get(reverse("search:search"), {"q": query} | more)
    assert response.status_code == 200
    return response.content.decode().partition("<main")[2]


@pytest.mark.parametrize("kind", ["booking", "song", "person", "file", "mix", "track", "message"])
def test_each_kind_of_thing_is_found_with_its_place(kind: str) -> None:
    drummer, client = make_drummer(), make_client(name="Tessa Quillfeather")
    booking = make_booking(client=client, drummer=drummer, title="Gravel Beside Lanterns")
    song = make_song(booking=booking, title="Umbrella Under Kettle", stage="delivered")
    make_source(song=song, name="Bässe links.wav")
    make_rough_mix(song=song, name="first-pass.wav", state=RoughMix.State.OUT)
    make_track(delivery=make_delivery(song=song, state=Delivery.State.RELEASED), name="Overheads.wav")
    make_message(song=song, subject="A word", body="First line.\nThe ritardando is in bar 40.")
    word, shown = {
        "booking": ("lanterns", "Gravel Beside Lanterns"),
        "song": ("KETTLE", "Umbrella Under Kettle"),
        "person": ("quill", "Tessa Quillfeather"),
        "file": ("bässe", "Bässe links.wav"),
        "mix": ("first-pass", "first-pass.wav"),
        "track": ("overhead", "Overheads.wav"),
        "message": ("ritardando", "The ritardando is in bar 40."),
    }[kind]
    for reader in (drummer, client):
        text = find(reader, word)
        assert shown in text
        assert "Gravel Beside Lanterns" in text


@pytest.mark.parametrize("stage", ["closed", "declined", "cancelled"])
def test_the_archive_is_searched(stage: str) -> None:
    booking = make_booking(title="Paper Boats Sideways", stage=stage)
    text = find(booking.created_by, "boats sideways")
    assert "Paper Boats Sideways" in text
    assert stage in text


@pytest.mark.parametrize(
    ("title", "query"),
    [
        ("Sale: 50% off", "50%"),
        ("under_score", "_"),
        ("Back\\slash", "k\\s"),
        ('It\'s "so" called', '"so"'),
        ("Drums 🥁 please", "🥁"),
        ("Straße im Regen", "STRASSE"),
        ("ŽLUTÝ KŮŇ", "žlutý kůň"),
        ("Ωδή στον ΉΛΙΟΣ", "ήλιοσ"),
        ("雨の日の歌", "日の"),
        ("مطر خفيف", "خفيف"),
        (unicodedata.normalize("NFD", "Café Ürümqi"), unicodedata.normalize("NFC", "café ürü")),
        (unicodedata.normalize("NFC", "Café Ürümqi"), unicodedata.normalize("NFD", "CAFÉ")),
        ("Ｆｕｌｌ width", "full"),
        ("Tomás im Öl", "tomas ol"),
        ("Lantern", "lántern"),
        ("비 오는 날", "오는"),
    ],
)
def test_whatever_is_typed_is_text(title: str, query: str) -> None:
    booking = make_booking(title=title)
    make_booking(title="Another one altogether", drummer=booking.created_by)
    text = find(booking.created_by, query)
    assert booking.get_absolute_url() in text
    assert "Another one altogether" not in text


@pytest.mark.parametrize(
    "query", ["x" * 10_000, "🥁" * 10_000, "zz " * 3_400, "\0", "%" * 10_000, "' OR 1=1 --", "<b>"]
)
def test_nothing_typed_breaks_the_page(query: str) -> None:
    booking = make_booking(title="Quiet Ladder")
    assert "Quiet Ladder" not in find(booking.created_by, query)


def test_an_empty_search_asks_for_a_word() -> None:
    assert "Type a word" in find(make_drummer(), "  ")


def test_a_client_finds_their_own_alone() -> None:
    client, other = make_client(name="Nils Harrow"), make_client(name="Odile Harrow", email="odile@example.com")
    drummer = make_drummer(name="Bram Harrow")
    theirs = make_booking(client=other, drummer=drummer, title="Harrow lane")
    make_song(booking=theirs, title="Harrow song")
    make_message(booking=theirs, body="Harrow message")
    make_booking(client=client, drummer=drummer, title="Own Harrow")
    text = find(client, "harrow")
    assert "Own Harrow" in text
    assert "Nils Harrow" in text
    assert "Bram Harrow" in text
    for hidden in ("Odile", "lane", "Harrow song", "Harrow message"):
        assert hidden not in text


def test_an_address_is_found_by_the_drummer_alone() -> None:
    client, second = make_client(email="pin@wheel.example"), make_client(name="Second seat")
    booking = make_booking(client=client)
    booking.members.create(user=second)
    assert client.name in find(booking.created_by, "pin@wheel")
    assert client.name not in find(second, "pin@wheel")


def test_what_is_held_or_not_out_is_not_there_for_the_client() -> None:
    song = make_song(client=(client := make_client()), stage="tracking")
    make_message(song=song, body="sprocket held", state=Message.State.HELD)
    make_message(song=song, body="sprocket withdrawn", state=Message.State.WITHDRAWN)
    make_rough_mix(song=song, name="sprocket-mix.wav", state=RoughMix.State.READY)
    make_track(delivery=make_delivery(song=song), name="sprocket-track.wav")
    assert "Nothing found" in find(client, "sprocket")
    found = find(song.booking.created_by, "sprocket")
    for name in ("sprocket held", "sprocket-mix.wav", "sprocket-track.wav"):
        assert name in found


def test_a_corrected_title_is_found_by_its_new_words() -> None:
    song = make_song(title="Old words here")
    song.title = "New words there"
    song.save(update_fields=["title"])
    assert "New words there" in find(song.booking.created_by, "THERE")
    assert "Nothing found" in find(song.booking.created_by, "here old")


def test_a_long_list_is_paged() -> None:
    drummer = make_drummer()
    for number in range(MOST_ON_A_PAGE + 3):
        make_booking(drummer=drummer, title=f"Barrel {number:02d}")
    assert find(drummer, "barrel").count("Barrel") == MOST_OF_EACH
    first = find(drummer, "barrel", **{"in": "bookings"})
    assert first.count("Barrel ") == MOST_ON_A_PAGE
    assert "More" in first
    assert find(drummer, "barrel", **{"in": "bookings", "page": "2"}).count("Barrel ") == 3
    assert "Nothing more" in find(drummer, "barrel", **{"in": "bookings", "page": "999999"})
    assert find(drummer, "barrel", **{"in": "no such kind", "page": "-1"}).count("Barrel ") == MOST_OF_EACH


def test_as_many_queries_for_much_as_for_little() -> None:
    drummer = make_drummer()
    counts = []
    for _ in range(2):
        for _ in range(8):
            booking = make_booking(client=make_client(name="Wheel rim"), drummer=drummer, title="Wheel")
            song = make_song(booking=booking, title="Wheel hub")
            make_source(song=song, name="wheel.wav")
            make_message(song=song, body="wheel")
        with CaptureQueriesContext(
            connection,
        ) as queries:
            find(drummer, "wheel")
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_rows_from_before_are_filled() -> None:
    booking = make_booking(title="Ärger im Öl", songs=1)
    Booking.objects.update(folded="")
    Song.objects.update(folded="")
    import_module("portal.search.migrations.0001_fold_what_is_there").fill(apps, None)
    booking.refresh_from_db()
    assert booking.folded == "arger im ol"
    assert Song.objects.get().folded == "song 1"


def test_what_was_folded_with_its_accents_is_folded_again() -> None:
    make_booking(title="Ärger im Öl")
    Booking.objects.update(folded="ärger im öl")
    import_module("portal.search.migrations.0003_fold_accents_away").fill(apps, None)
    assert Booking.objects.get().folded == "arger im ol"


def test_a_question_is_found_by_its_text_and_a_held_one_by_the_drummer_alone() -> None:
    song = make_song(client=(client := make_client()))
    message = make_message(song=song, subject="About the song")
    for word, asked_at in (("ostinato", timezone.now()), ("fermata", None)):
        Question.objects.create(
            message=message, topic=word, about="Tempo", text=f"Where does the {word} end?", asked_at=asked_at
        )
    assert "About the song" in find(client, "ostinato")
    assert "Nothing found" in find(client, "fermata")
    assert "About the song" in find(song.booking.created_by, "fermata tempo")

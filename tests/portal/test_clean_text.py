"""Text that does harm, at every door: no 500 on any database, and none of it in a table or on a page."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.http import QueryDict
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from portal.bookings.models import Booking, Song
from portal.bookings.stages import SongStage
from portal.clean_text import clean, clean_deep, cleaned, read_json
from portal.intake.models import SentZip, SourceFile
from portal.intake.zips import unpacking
from portal.people.models import User
from portal.uploads import jobs, tasks
from portal.uploads.models import Upload
from tests.factories import make_client, make_drummer, make_sent_zip, make_song, make_source
from tests.portal.intake.made_zips import raw_zip
from tests.portal.uploads.sending import base64_of

pytestmark = pytest.mark.django_db
# NUL, a control, the mark that turns the direction (UAX #9), and half of a surrogate pair.
HOSTILE = "a\0b\x1bc\u202ed\udcffe"
WIRE = HOSTILE.encode("utf-8", "surrogatepass")


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        (HOSTILE, "abcde"),
        ("two\r\nlines\tand a tab", "two\r\nlines\tand a tab"),
        ("한강의 밤 🥁 👩‍🎤 é", "한강의 밤 🥁 👩‍🎤 é"),
        ("\x7f\x85\x9f", ""),
    ],
)
def test_what_no_page_can_show_is_taken_out(text: str, shown: str) -> None:
    assert clean(text) == shown


def test_json_is_cleaned_through_and_through() -> None:
    assert clean_deep({"a\0": [HOSTILE, {"b": HOSTILE}, 1, None]}) == {"a": ["abcde", {"b": "abcde"}, 1, None]}
    assert read_json(json.dumps({"name": HOSTILE})) == {"name": "abcde"}


def test_a_form_without_such_text_is_passed_on_as_it_is_and_a_password_as_it_was_typed() -> None:
    plain = QueryDict("title=Cold+Bus")
    assert cleaned(plain) is plain
    typed = cleaned(QueryDict("title=a%00b&password=a%01b&new_password1=%01"))
    assert typed.dict() == {"title": "ab", "password": "a\x01b", "new_password1": "\x01"}


@pytest.fixture
def member() -> User:
    return make_client()


@pytest.fixture
def song(member: User) -> Song:
    return make_song(client=member, stage=SongStage.WAITING)


@pytest.mark.parametrize("place", ["bookings:board", "search:search", "intake:desk"])
def test_it_can_be_looked_for(client: Client, song: Song, place: str) -> None:
    client.force_login(song.booking.created_by)
    for name in ("q", "client", "state", "page", "stage"):
        assert client.get(reverse(place), {name: HOSTILE.replace("\udcff", "")}).status_code in (200, 302, 404)


def test_a_booking_is_opened_under_a_clean_title(client: Client) -> None:
    client.force_login(make_drummer())
    typed = {
        "title": "Cold\0 Bus\u202e",
        "song_titles": "One\x1b",
        "client_name": "Ma\0ra",
        "client_email": "m@example.com",
    }
    response = client.post(reverse("bookings:new"), typed)
    assert response.status_code == 302, response.content.decode()
    assert Booking.objects.get().title == "Cold Bus"
    assert User.objects.get(email="m@example.com").name == "Mara"


def send(client: Client, song: Song, *, folder: bytes, name: bytes = b"a.wav") -> Any:
    said = {"filename": name, "purpose": b"source", "target": str(song.pk).encode(), "folder": folder}
    said_pairs = ",".join(f"{key} {base64_of(value)}" for key, value in said.items())
    named = {"Tus-Resumable": "1.0.0", "Upload-Length": "4", "Upload-Metadata": said_pairs}
    named["Content-Type"] = "application/offset+octet-stream"
    return client.generic("POST", "/tus/", b"RIFF", "application/offset+octet-stream", headers=named)


def test_a_folder_and_a_file_have_clean_names(client: Client, song: Song, member: User) -> None:
    client.force_login(member)
    assert (
        send(client, song, folder=b"Ste\0ms\xed\xb3\xbf/" + "\u202e".encode(), name=WIRE + b".wav").status_code == 201
    )
    source = SourceFile.objects.get()
    assert clean(source.folder) == source.folder
    assert source.folder.startswith("Stems")
    assert source.name.startswith("abcd")


def test_names_in_a_zip_are_clean_those_that_are_left_out_too(song: Song) -> None:
    sent = make_sent_zip(song=song, content=raw_zip((b"a\0/b\x1b.wav", b"1"), (b"__MACOSX/._b\0\x1b.wav", b"2")))
    unpacking.unpack(sent.pk)
    sent.refresh_from_db()
    assert sent.state == SentZip.State.UNPACKED
    assert [source.name for source in song.sources.all()] == ["b.wav"]
    assert clean_deep(sent.notes) == sent.notes


def test_what_a_file_says_about_itself_is_clean_when_it_is_kept(song: Song) -> None:
    source = make_source(song=song)
    source.store_report({"tags": {"TIT2\0": f"{HOSTILE}\0two-valued"}}, features_key="")
    source.refresh_from_db()
    assert source.report == {"tags": {"TIT2": "abcdetwo-valued"}}
    source.refuse(reason=HOSTILE, report={"text": HOSTILE})
    source.refresh_from_db()
    assert (source.refusal, source.report) == ("abcde", {"text": "abcde"})


def test_a_row_that_cannot_be_finished_does_not_stop_the_sweep(
    member: User, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Whatever goes wrong with one upload, in a way that nobody thought of."""
    long_ago = timezone.now() - jobs.LEFT_ALONE_FOR - timedelta(seconds=1)
    bad, good = (
        Upload.objects.create(owner=member, file_name=name, length_bytes=0, touched_at=long_ago) for name in "bg"
    )
    finished: list[str] = []

    def finish(upload: Upload) -> None:
        if upload.pk == bad.pk:
            raise ValueError("A string literal cannot contain NUL (0x00) characters.")
        finished.append(upload.file_name)

    monkeypatch.setattr(jobs, "finish", finish)
    tasks.finish_waiting()
    assert finished == [good.file_name]
    assert f"upload {bad.pk}: left for the next round" in caplog.text

"""The page of a file's versions, without script."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from portal.bookings.models import Song
from portal.bookings.stages import SongStage
from portal.intake import tasks
from portal.intake.files import services as song_files
from portal.intake.models import Finding, SentZip, SourceFile
from portal.people.models import User
from portal.uploads.models import Upload
from tests.factories import make_finding, make_sent_zip, make_source
from tests.portal.intake.reading import read

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def queue(monkeypatch: pytest.MonkeyPatch) -> None:
    for task in (tasks.survey_file, tasks.measure_song, tasks.unpack_zip):
        monkeypatch.setattr(task, "delay", lambda _: None)


@pytest.fixture(autouse=True)
def at_the_browser(client: Client, client_user: User) -> None:
    client.force_login(client_user)


@pytest.fixture
def bass(song: Song) -> SourceFile:
    return song.sources.get()


def replace(client: Client, source: SourceFile, *files: tuple[str, bytes]) -> str:
    data = {"file": [SimpleUploadedFile(*file) for file in files]}
    return client.post(f"/files/{source.pk}/replace/", data, follow=True).content.decode()


def test_a_new_bounce_whatever_its_name_and_back_again(client: Client, song: Song, bass: SourceFile) -> None:
    assert "is received. It is being measured." in replace(client, bass, ("Bass DI.wav", b"new"))
    newer = song.sources.current().get()
    assert (newer.name, newer.version) == ("Bass DI.wav", 2)
    page = read(client, f"/files/{bass.pk}/versions/")
    assert "Version 2 is in use" in page
    assert "Restore version 1" in page
    assert 'aria-label="Remove Bass DI.wav"' in page

    client.post(f"/files/{bass.pk}/bring-back/")

    assert song.sources.current().get() == bass
    assert "Version 1 is in use" in read(client, f"/files/{newer.pk}/versions/")


def test_without_a_file_it_asks_for_one(client: Client, bass: SourceFile) -> None:
    assert "Choose a file first" in replace(client, bass)


def test_a_zip_cannot_take_the_place_of_a_file(client: Client, song: Song, bass: SourceFile) -> None:
    assert "A zip cannot replace a single file." in replace(client, bass, ("stems.zip", b"PK"))
    assert song.sources.current().get() == bass


def test_what_a_version_settles_and_what_is_open_stands_beside_it(client: Client, song: Song, bass: SourceFile) -> None:
    newer = make_source(song=song, first=bass, version=2)
    make_finding(song=song, code="clipped", source=bass).resolve(by_source=newer)
    make_finding(song=song, code="unreadable", source=newer)
    make_finding(song=song, code="document", source=newer).end(Finding.State.WAIVED)
    bass.leave(SourceFile.Left.REPLACED)
    page = read(client, f"/files/{bass.pk}/versions/")
    assert "Fixes: Clipped peaks" in page
    assert "Open: Cannot be opened" in page
    assert "Document" not in page
    files = read(client, f"/songs/{song.pk}/")
    assert "This version fixes: Clipped peaks" in files
    assert "version 2" in files


def test_taken_out_and_brought_back_from_the_song_s_page(client: Client, song: Song, bass: SourceFile) -> None:
    client.post(f"/files/{bass.pk}/remove/")
    assert "1 removed" in read(client, f"/songs/{song.pk}/")
    assert "Removed from the song" in read(client, f"/files/{bass.pk}/versions/")
    client.post(f"/files/{bass.pk}/bring-back/")
    assert "removed</summary>" not in read(client, f"/songs/{song.pk}/")


def test_after_delivery_nothing_can_be_changed(client: Client, song: Song, bass: SourceFile) -> None:
    song_files.remove(source=bass, by=song.booking.created_by)
    Song.objects.update(stage=SongStage.DELIVERED)
    response = client.post(f"/files/{bass.pk}/bring-back/", follow=True)
    assert "it no longer accepts files" in response.content.decode()
    page = read(client, f"/files/{bass.pk}/versions/")
    assert "Restore" not in page
    assert "Upload the new bounce here" not in page
    assert "it no longer accepts files" in replace(client, bass, ("new.wav", b"new"))


def test_what_became_of_a_zip_is_said(client: Client, song: Song) -> None:
    sent = make_sent_zip(song=song)
    assert "Received, being unpacked" in read(client, f"/songs/{song.pk}/")
    sent.finish(["“kick.wav” is locked with a password. Please send it without one."])
    assert "locked with a password" in read(client, f"/songs/{song.pk}/")
    SentZip.objects.update(state=SentZip.State.RECEIVED)
    sent.refuse("There is no usable file in this zip.", [])
    assert "There is no usable file in this zip" in read(client, f"/songs/{song.pk}/")
    assert b"".join(client.get(f"/zips/{sent.pk}/").streaming_content) == b"no zip at all"  # type: ignore[attr-defined]


def test_a_zip_with_the_plain_form(client: Client, song: Song) -> None:
    data = {"file": SimpleUploadedFile("Stems.ZIP", b"PK")}
    response = client.post(f"/songs/{song.pk}/files/upload/", data, follow=True)
    assert "“Stems.ZIP” is received. It is being unpacked." in response.content.decode()
    assert song.zips.get().name == "Stems.ZIP"
    assert song.stage != SongStage.CHECKING
    song.refresh_from_db()
    assert song.stage == SongStage.CHECKING


def test_with_the_plain_form_too_what_lies_beside_a_file_is_left_out(client: Client, song: Song) -> None:
    sent = [SimpleUploadedFile("keys.wav", b"keys"), SimpleUploadedFile("keys.wav.drawn", b"drawn")]
    response = client.post(f"/songs/{song.pk}/files/upload/", {"file": sent}, follow=True)
    assert "“keys.wav.drawn” is left out: it holds system or program data." in response.content.decode()
    assert [source.name for source in song.sources.filter(name__startswith="keys")] == ["keys.wav"]


def test_what_was_begun_is_offered_again_on_any_machine(client: Client, song: Song, client_user: User) -> None:
    fields = {"owner": client_user, "purpose": "source", "target_id": song.pk, "length_bytes": 4_096}
    # modified MTIzNDU= is 12345 in Base64
    begun = Upload.objects.create(file_name="keys.wav", offset_bytes=1_024, metadata="modified MTIzNDU=", **fields)
    Upload.objects.create(file_name="untouched.wav", **fields)
    Upload.objects.create(file_name="part.wav", offset_bytes=1, concat="partial", **fields)
    Upload.objects.create(file_name="over.wav", offset_bytes=1, state=Upload.State.RECEIVED, **fields)
    old = Upload.objects.create(file_name="old.wav", offset_bytes=1, **fields)
    Upload.objects.filter(pk=old.pk).update(touched_at="2020-01-01T00:00Z")
    page = read(client, f"/songs/{song.pk}/")
    assert f'data-url="/tus/{begun.pk}/" data-name="keys.wav" data-size="4096" data-modified="12345"' in page
    assert page.count("data-modified") == 1

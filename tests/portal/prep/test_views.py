from __future__ import annotations

from http import HTTPStatus

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoCaptureOnCommitCallbacks

from portal.prep.models import PreparedFile
from portal.prep.services import prepare
from tests.factories import make_client, make_map, make_song
from tests.portal.pages import flat

pytestmark = pytest.mark.django_db


def test_an_approved_map_gives_files_to_download(
    client: Client, django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    song = make_song(client=make_client(), stage="on-desk", title="Cold Bus Under Spoons")
    client.force_login(song.booking.created_by)
    assert "Click and tempo map" not in client.get(song.get_absolute_url()).content.decode()

    approved = make_map(song=song)
    assert "are being made" in client.get(song.get_absolute_url()).content.decode()
    with django_capture_on_commit_callbacks(execute=True):
        prepare(approved.pk)

    page = flat(client.get(song.get_absolute_url()).content.decode())
    for words in ("Cold-Bus-Under-Spoons_112bpm_v1_click.wav", "−12 dBFS", "see an audiologist", "2 bars of count-in"):
        assert words in page
    click = approved.prepared.get(kind="click")
    response = client.get(reverse("prep:file", args=[click.pk]))
    assert len(b"".join(response.streaming_content)) == click.size_bytes  # type: ignore[attr-defined]
    assert 'filename="Cold-Bus-Under-Spoons_112bpm_v1_click.wav"' in response.headers["Content-Disposition"]


def prepared_file() -> PreparedFile:
    song = make_song(client=make_client())
    return PreparedFile.objects.create(approved_map=make_map(song=song), kind="click", name="c", key="c", size_bytes=1)


def test_outsiders_find_nothing_and_nobody_signs_in(client: Client) -> None:
    address = reverse("prep:file", args=[prepared_file().pk])
    assert client.get(address).headers["Location"].startswith("/sign-in/")
    client.force_login(make_client())
    assert client.get(address).status_code == HTTPStatus.NOT_FOUND


def test_files_are_read_not_written(client: Client) -> None:
    prepared = prepared_file()
    client.force_login(prepared.approved_map.song.booking.created_by)
    assert client.post(reverse("prep:file", args=[prepared.pk])).status_code == HTTPStatus.METHOD_NOT_ALLOWED

"""A body is refused before it is read where its sender may not send it. Each stream here breaks when it is touched."""

from __future__ import annotations

import io
import shutil
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import Settings

import portal.settings
from portal.bookings.models import Song
from portal.uploads.door import FORM_AROUND_FILES_BYTES
from tests.factories import make_drummer, make_song

pytestmark = pytest.mark.django_db

MIB = 1024**2
MULTIPART = "multipart/form-data; boundary=x"


class Unread(io.RawIOBase):
    def read(self, *_: Any) -> bytes:
        raise AssertionError("the body is read")

    readline = readinto = read


def file_addresses(song: Song) -> list[str]:
    return [
        reverse("people:sign-in"),
        reverse("intake:plain-upload", args=[song.pk]),
        reverse("intake:replace", args=[1]),
        reverse("takes:upload", args=[song.pk]),
        reverse("delivery:upload", args=[1]),
        reverse("admin:login"),
        reverse("uploads:create"),
    ]


def send(client: Client, address: str, length_bytes: int, **more: Any) -> tuple[int, str]:
    client.cookies["csrftoken"] = "a" * 32
    environ = {"wsgi.input": Unread(), "CONTENT_LENGTH": str(length_bytes), "CONTENT_TYPE": MULTIPART, **more}
    answer = client.generic("POST", address, **environ)
    return answer.status_code, answer.content.decode()


@pytest.fixture
def strict() -> Client:
    return Client(enforce_csrf_checks=True)


def test_200_mib_from_nobody_are_refused_unread(strict: Client) -> None:
    for address in file_addresses(make_song()):
        status, words = send(strict, address, 200 * MIB)
        assert (status, "64.0" in words) == (413, True), (address, words)


def test_a_body_without_a_length_is_refused_unread(strict: Client) -> None:
    for address in file_addresses(make_song()):
        status, words = send(strict, address, 0, HTTP_TRANSFER_ENCODING="chunked")
        assert (status, "length" in words) == (411, True), address


def test_who_is_signed_in_sends_files_only_where_files_are_taken(strict: Client) -> None:
    song = make_song()
    strict.force_login(make_drummer())
    assert send(strict, reverse("people:me"), 200 * MIB)[0] == 413
    with pytest.raises(AssertionError, match="the body is read"):
        send(strict, reverse("intake:plain-upload", args=[song.pk]), 200 * MIB)


def test_a_form_is_not_longer_than_the_longest_file(strict: Client, settings: Settings) -> None:
    song = make_song()
    strict.force_login(make_drummer())
    longest = settings.LARGEST_UPLOAD_BYTES + FORM_AROUND_FILES_BYTES
    assert send(strict, reverse("intake:plain-upload", args=[song.pk]), longest + 1)[0] == 413


def test_files_of_a_form_count_against_the_disks_reserve(strict: Client, settings: Settings) -> None:
    song = make_song()
    strict.force_login(make_drummer())
    Path(settings.UPLOAD_DIR).mkdir(parents=True, exist_ok=True)
    free = shutil.disk_usage(settings.UPLOAD_DIR).free
    settings.LARGEST_UPLOAD_BYTES = 2 * free
    settings.UPLOAD_DISK_RESERVE_BYTES = MIB
    status, words = send(strict, reverse("intake:plain-upload", args=[song.pk]), free)
    assert (status, "no room" in words) == (413, True)


def test_they_lie_on_the_disk_whose_reserve_they_count_against() -> None:
    assert Path(portal.settings.FILE_UPLOAD_TEMP_DIR).parent == portal.settings.UPLOAD_DIR


def test_a_refused_form_is_not_counted_any_more(strict: Client, settings: Settings) -> None:
    song = make_song()
    strict.force_login(make_drummer())
    settings.LARGEST_UPLOAD_BYTES = 2**60
    for _ in range(2):
        assert send(strict, reverse("intake:plain-upload", args=[song.pk]), 2**60)[0] == 413
    settings.LARGEST_UPLOAD_BYTES = 32 * 1024**3
    with pytest.raises(AssertionError, match="the body is read"):
        send(strict, reverse("intake:plain-upload", args=[song.pk]), 3 * MIB)


def test_a_small_form_of_nobody_is_read(strict: Client) -> None:
    with pytest.raises(AssertionError, match="the body is read"):
        send(strict, reverse("people:sign-in"), 1_000)


@pytest.mark.parametrize("method", ["TRACE", "GET", "HEAD", "OPTIONS", "PUT"])
def test_a_method_that_no_check_looks_at_turns_into_no_other(method: str) -> None:
    client = Client(enforce_csrf_checks=True)
    client.force_login(make_drummer())
    headers = {
        "X-HTTP-Method-Override": "POST",
        "Tus-Resumable": "1.0.0",
        "Upload-Length": "5",
        "Upload-Concat": "partial",
    }
    assert client.generic(method, reverse("uploads:create"), headers=headers).status_code in (400, 403)


@pytest.mark.parametrize("as_files", [False, True])
def test_a_form_of_ten_thousand_fields_is_a_bad_request(client: Client, as_files: bool) -> None:
    """Django counts to a thousand fields and a hundred files."""
    client.force_login(make_drummer())
    part = '--x\r\nContent-Disposition: form-data; name="a"{}\r\n\r\nb\r\n'.format('; filename="c"' if as_files else "")
    answer = client.post(reverse("people:me"), part * 10_000 + "--x--\r\n", content_type=MULTIPART)
    assert answer.status_code == 400
    assert "could not read this request" in answer.content.decode()

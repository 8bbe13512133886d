"""Sending stored files. What a range must give is arithmetic on the file's own bytes (RFC 9110, section 14)."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, unquote

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.http import Http404, HttpResponseBase, StreamingHttpResponse
from django.test import RequestFactory
from pytest_django.fixtures import Settings
from storages.backends.s3 import S3Storage

from portal import file_serving

CONTENT = bytes(range(256)) * 5_000  # 1 280 000 bytes: several chunks
LENGTH = len(CONTENT)


@pytest.fixture
def key(settings: Settings, tmp_path: Path) -> str:
    settings.STORAGES = settings.STORAGES | {
        "default": {"BACKEND": "portal.storage.FolderStorage", "OPTIONS": {"location": str(tmp_path)}}
    }
    return default_storage.save("originals/ab/abcdef", ContentFile(CONTENT))


def ask(key: str, method: str = "GET", **headers: str) -> HttpResponseBase:
    request = RequestFactory().generic(method, "/file/", headers={**headers})
    return file_serving.serve(request, key=key, file_name="snare.wav")


def body(response: HttpResponseBase) -> bytes:
    if isinstance(response, StreamingHttpResponse):
        return b"".join(response.streaming_content)  # type: ignore[arg-type]
    return response.content  # type: ignore[attr-defined, no-any-return]


def test_sends_the_whole_file_with_its_length_type_and_tag(key: str) -> None:
    response = ask(key)

    assert response.status_code == 200
    assert body(response) == CONTENT
    assert response.headers["Content-Length"] == str(LENGTH)
    assert response.headers["Content-Type"] == "audio/wav"
    assert response.headers["Accept-Ranges"] == "bytes"
    assert response.headers["X-Content-Type-Options"] == "nosniff"
    assert response.headers["ETag"].startswith('"')


@pytest.mark.parametrize(
    ("asked", "start", "stop"),
    [
        ("bytes=0-0", 0, 1),
        ("bytes=0-499", 0, 500),
        ("bytes=500-999", 500, 1_000),
        ("bytes=1000-", 1_000, LENGTH),
        ("bytes=-1", LENGTH - 1, LENGTH),
        ("bytes=-500", LENGTH - 500, LENGTH),
        (f"bytes=-{LENGTH * 2}", 0, LENGTH),
        (f"bytes=9-{LENGTH * 2}", 9, LENGTH),
        (f"bytes={LENGTH - 1}-", LENGTH - 1, LENGTH),
        ("bytes=262143-262144", 262_143, 262_145),
        ("Bytes = 5 - 9".lower(), 5, 10),
    ],
)
def test_sends_exactly_the_range(key: str, asked: str, start: int, stop: int) -> None:
    response = ask(key, Range=asked)

    assert response.status_code == 206
    assert body(response) == CONTENT[start:stop]
    assert response.headers["Content-Range"] == f"bytes {start}-{stop - 1}/{LENGTH}"
    assert response.headers["Content-Length"] == str(stop - start)


@pytest.mark.parametrize("asked", [f"bytes={LENGTH}-", f"bytes={LENGTH + 5}-{LENGTH + 9}", "bytes=-0"])
def test_a_range_outside_the_file_is_refused_with_its_length(key: str, asked: str) -> None:
    response = ask(key, Range=asked)

    assert response.status_code == 416
    assert response.headers["Content-Range"] == f"bytes */{LENGTH}"
    assert body(response) == b""


@pytest.mark.parametrize(
    "asked", ["bytes=9-5", "bytes=-", "bytes=a-b", "lines=0-5", "bytes=0-1,4-5", "bytes=" + "9" * 5_000 + "-", ""]
)
def test_a_range_that_cannot_be_read_is_answered_with_the_whole(key: str, asked: str) -> None:
    response = ask(key, Range=asked)

    assert response.status_code == 200
    assert response.headers["Content-Length"] == str(LENGTH)


def test_if_range_sends_the_range_of_this_state_and_the_whole_of_another(key: str) -> None:
    tag = ask(key).headers["ETag"]

    assert ask(key, Range="bytes=3-5", **{"If-Range": tag}).status_code == 206
    for other in ('"another"', f"W/{tag}", "Wed, 25 Nov 2026 09:00:00 GMT"):
        assert ask(key, Range="bytes=3-5", **{"If-Range": other}).status_code == 200


def test_what_the_reader_has_is_not_sent_again(key: str) -> None:
    tag = ask(key).headers["ETag"]

    response = ask(key, **{"If-None-Match": f'"other", W/{tag}'})

    assert (response.status_code, body(response)) == (304, b"")
    assert ask(key, **{"If-None-Match": '"other"'}).status_code == 200


def test_head_says_what_get_would_send_without_it(key: str) -> None:
    response = ask(key, "HEAD", Range="bytes=0-5")

    assert response.status_code == 200
    assert body(response) == b""
    assert response.headers["Content-Length"] == str(LENGTH)
    assert response.headers["ETag"] == ask(key).headers["ETag"]


def test_a_file_that_is_not_there_is_not_found(key: str) -> None:
    with pytest.raises(Http404):
        ask("originals/no/thing")


def test_ranges_read_no_more_than_they_send(tmp_path: Path) -> None:
    path = tmp_path / "sparse"
    with path.open("wb") as file:
        file.truncate(10 * 2**30)

    assert b"".join(file_serving.read_file(path, 9 * 2**30, 9 * 2**30 + 10)) == bytes(10)


def test_nginx_sends_the_file_when_it_stands_in_front(key: str, settings: Settings) -> None:
    settings.ACCEL_PREFIX = "/protected/"
    name = default_storage.save("proxies/ab/a b.flac", ContentFile(b"x"))

    response = ask(name)

    assert response.headers["X-Accel-Redirect"] == "/protected/proxies/ab/a%20b.flac"
    assert body(response) == b""
    assert "attachment" in response.headers["Content-Disposition"]


def test_an_s3_store_is_asked_for_a_signed_address(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.S3_BUCKET = "house"
    asked: dict[str, Any] = {}

    def sign(key: str, **options: Any) -> str:
        asked.update(options, key=key)
        return "https://store.example/signed"

    monkeypatch.setattr(default_storage, "url", sign, raising=False)
    response = ask("originals/ab/abcdef", "HEAD")

    assert (response.status_code, response.headers["Location"]) == (302, "https://store.example/signed")
    assert response.headers["Cache-Control"] == "no-store"
    assert (asked["key"], asked["http_method"]) == ("originals/ab/abcdef", "HEAD")
    assert asked["parameters"]["ResponseContentDisposition"] == 'attachment; filename="snare.wav"'


def test_nginx_fetches_from_an_s3_store_by_a_path_that_is_signed(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.S3_BUCKET, settings.ACCEL_PREFIX = "house", "/objects/"
    # Signing takes keys, not a store that answers.
    store = S3Storage(
        bucket_name="house",
        endpoint_url="http://store:9000",
        access_key="somebody",
        secret_key="hush-hush",
        addressing_style="path",
        signature_version="s3v4",
        querystring_expire=600,
    )
    monkeypatch.setattr(default_storage, "_wrapped", store)

    path, _, query = ask("originals/ab/abcdef").headers["X-Accel-Redirect"].partition("?")

    assert path == "/objects/house/originals/ab/abcdef"
    # nginx asks under the store's own name and passes on none of the browser's headers.
    assert parse_qs(query)["X-Amz-SignedHeaders"] == ["host"]
    assert parse_qs(query)["X-Amz-Expires"] == ["600"]


class OnlyRemote:
    """A store that has no path on this machine, as S3 has none."""

    def path(self, key: str) -> str:
        raise NotImplementedError(key)

    def open(self, key: str, mode: str) -> ContentFile[bytes]:
        assert (key, mode) == ("originals/ab/abcdef", "rb")
        return ContentFile(CONTENT)


def test_lends_a_local_file_itself(key: str) -> None:
    with file_serving.local_copy(key) as path:
        assert path == Path(default_storage.path(key))
    assert path.exists()


def test_lends_a_remote_file_as_a_copy_that_is_gone_afterwards(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(file_serving, "default_storage", OnlyRemote())
    with file_serving.local_copy("originals/ab/abcdef") as path:
        assert path.read_bytes() == CONTENT
    assert not path.exists()


def names_in(header: str) -> tuple[str, str]:
    """The plain name, and the true name where there is one beside it, as RFC 6266, 4.1 writes them."""
    true_name = r"; filename\*=UTF-8''([A-Za-z0-9!#$&+.^_`|~%-]+)"
    match = re.fullmatch(rf'attachment; filename="([^"\\]*)"(?:{true_name})?', header)
    assert match is not None
    plain, true = match.groups()
    return plain, unquote(true) if true else plain


@pytest.mark.parametrize(
    ("name", "plain", "true"),
    [
        ("snare.wav", "snare.wav", "snare.wav"),
        ("Perché no.wav", "Perche no.wav", "Perché no.wav"),
        ("스네어.wav", None, "스네어.wav"),
        ('a"b.wav', "a_b.wav", 'a"b.wav'),
        ("100%.wav", "100_.wav", "100%.wav"),
        ("../../x.wav", ".._.._x.wav", ".._.._x.wav"),
        ("C:\\x.wav", "C:_x.wav", "C:_x.wav"),
        ("a\r\nSet-Cookie: b.wav", "a__Set-Cookie: b.wav", "a__Set-Cookie: b.wav"),
        ("kick\u202evaw.exe", "kickvaw.exe", "kickvaw.exe"),
        ("🥁.wav", "_.wav", "🥁.wav"),
        ("", "file", "file"),
    ],
)
def test_names_a_file_safely_for_old_and_new_readers(name: str, plain: str | None, true: str) -> None:
    """Source: RFC 6266, 4.3 and appendix D; RFC 8187, 3.2.1."""
    header = file_serving.content_disposition(name)

    assert header.isascii()
    assert "\r" not in header
    assert "\n" not in header
    seen_plain, seen_true = names_in(header)
    assert seen_true == true
    assert seen_plain == plain if plain else seen_plain.endswith(".wav")


def test_inline_is_for_what_a_page_plays() -> None:
    assert file_serving.content_disposition("mix.flac", inline=True) == 'inline; filename="mix.flac"'


def test_tags_differ_when_what_they_stand_for_does() -> None:
    assert file_serving.tag_of("a", "b") == file_serving.tag_of("a", "b")
    assert len({file_serving.tag_of("a", "b"), file_serving.tag_of("ab"), file_serving.tag_of("b", "a")}) == 3

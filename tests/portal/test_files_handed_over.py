"""Stored files that somebody else sends: nginx from its folder, nginx from the object store, or the store itself."""

from urllib.parse import parse_qs, urlsplit

import pytest
from django.core.files.storage import default_storage
from django.http import HttpResponseBase
from django.test import RequestFactory
from pytest_django import Settings
from storages.backends.s3 import S3Storage

from portal import files

KEY = "originals/ab/abcd"


def sent(rf: RequestFactory) -> HttpResponseBase:
    return files.serve(rf.get("/"), key=KEY, file_name="bass.wav")


@pytest.fixture
def _object_store(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    """Signing an address needs keys, not a store that answers."""
    settings.S3_BUCKET = "kitpost"
    store = S3Storage(
        bucket_name="kitpost",
        endpoint_url="http://store:9000",
        access_key="somebody",
        secret_key="hush-hush",
        addressing_style="path",
        signature_version="s3v4",
        region_name="us-east-1",
        querystring_expire=600,
    )
    monkeypatch.setattr(default_storage, "_wrapped", store)


def test_nginx_finds_the_file_in_its_folder(rf: RequestFactory, settings: Settings) -> None:
    settings.ACCEL_PREFIX = "/store/"

    response = sent(rf)

    assert response.headers["X-Accel-Redirect"] == f"/store/{KEY}"
    assert response.headers["Content-Type"] == "audio/wav"
    assert response.headers["Content-Disposition"] == 'attachment; filename="bass.wav"'


@pytest.mark.usefixtures("_object_store")
def test_nginx_fetches_from_the_object_store_by_a_signed_path(rf: RequestFactory, settings: Settings) -> None:
    settings.ACCEL_PREFIX = "/objects/"

    path, _, query = sent(rf).headers["X-Accel-Redirect"].partition("?")

    assert path == f"/objects/kitpost/{KEY}"
    assert parse_qs(query)["X-Amz-Expires"] == ["600"]
    assert parse_qs(query)["X-Amz-SignedHeaders"] == ["host"]


@pytest.mark.usefixtures("_object_store")
def test_without_nginx_the_browser_goes_to_the_store(rf: RequestFactory) -> None:
    response = sent(rf)

    address = urlsplit(response.headers["Location"])
    assert (response.status_code, address.netloc, address.path) == (302, "store:9000", f"/kitpost/{KEY}")
    assert parse_qs(address.query)["response-content-disposition"] == ['attachment; filename="bass.wav"']
    assert response.headers["Cache-Control"] == "no-store"

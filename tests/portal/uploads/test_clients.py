"""A client that nobody here wrote sends a file, is interrupted, and goes on."""

from __future__ import annotations

import io

import pytest
from django.core.files.storage import default_storage
from django.middleware.csrf import _get_new_csrf_string
from django.test import Client
from pytest_django.live_server_helper import LiveServer
from tusclient.client import TusClient

from portal.people.models import User
from portal.uploads.models import Upload
from tests.factories import make_client

CONTENT = bytes(range(251)) * 12_000  # no two chunks are alike
CHUNK_BYTES = 256 * 1024


@pytest.fixture
def tus(live_server: LiveServer, client: Client, transactional_db: None) -> TusClient:
    """Signed in, with the token that the page carries."""
    client.force_login(make_client())
    token = _get_new_csrf_string()
    cookies = f"sessionid={client.cookies['sessionid'].value}; csrftoken={token}"
    return TusClient(f"{live_server.url}/tus/", headers={"Cookie": cookies, "X-CSRFToken": token})


def test_tuspy_is_interrupted_and_goes_on_where_it_was(tus: TusClient) -> None:
    metadata = {"filename": "Größe.wav", "purpose": "note", "target": "7"}
    first = tus.uploader(file_stream=io.BytesIO(CONTENT), chunk_size=CHUNK_BYTES, metadata=metadata)
    first.upload(stop_at=1_000_000)

    second = tus.uploader(file_stream=io.BytesIO(CONTENT), url=first.url, chunk_size=CHUNK_BYTES)
    resumed_at = second.offset
    second.upload()

    upload = Upload.objects.get()
    assert 1_000_000 <= resumed_at < len(CONTENT)
    assert (upload.state, upload.file_name) == (Upload.State.RECEIVED, "Größe.wav")
    with default_storage.open(upload.key) as file:
        assert file.read() == CONTENT


def test_tuspy_proves_each_chunk(tus: TusClient) -> None:
    metadata = {"filename": "bass.wav", "purpose": "note", "target": "7"}

    tus.uploader(
        file_stream=io.BytesIO(CONTENT), chunk_size=CHUNK_BYTES, metadata=metadata, upload_checksum=True
    ).upload()

    assert Upload.objects.get().state == Upload.State.RECEIVED
    assert User.objects.count() == 1

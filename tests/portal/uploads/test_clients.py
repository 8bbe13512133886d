"""A client that nobody here wrote sends a file, is interrupted, and goes on."""

from __future__ import annotations

import io
import json
import subprocess
import threading
from pathlib import Path

import pytest
import requests
from django.core.files.storage import default_storage
from django.middleware.csrf import _get_new_csrf_string
from django.test import Client
from pytest_django.live_server_helper import LiveServer
from tusclient.client import TusClient

from portal.people.models import User
from portal.uploads.models import Upload
from tests.factories import make_client
from tests.flows.interruptions import CLIENTS_DIR, node_program
from tests.portal.uploads.sending import BYTES_TYPE

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


def test_two_machines_that_send_one_upload_at_once_cannot_corrupt_it(tus: TusClient) -> None:
    """Both go on from wherever the upload stands, as fast as they can, until it has come."""
    metadata = {"filename": "bass.wav", "purpose": "note", "target": "7"}
    url = tus.uploader(file_stream=io.BytesIO(CONTENT), metadata=metadata).create_url()
    said = []

    def send() -> None:
        offset = 0
        while offset < len(CONTENT):
            headers = tus.headers | {"Tus-Resumable": "1.0.0", "Upload-Offset": str(offset), "Content-Type": BYTES_TYPE}
            answer = requests.patch(url, data=CONTENT[offset : offset + CHUNK_BYTES], headers=headers, timeout=30)
            said.append(answer.status_code)
            head = requests.head(url, headers=tus.headers | {"Tus-Resumable": "1.0.0"}, timeout=30)
            offset = int(head.headers.get("Upload-Offset", offset))

    machines = [threading.Thread(target=send) for _ in range(2)]
    for machine in machines:
        machine.start()
    for machine in machines:
        machine.join()

    assert set(said) <= {204, 409, 423}
    upload = Upload.objects.get()
    assert upload.state == Upload.State.RECEIVED
    with default_storage.open(upload.key) as file:
        assert file.read() == CONTENT


def test_tus_js_client_sends_four_parts_side_by_side(tus: TusClient, tmp_path: Path) -> None:
    (tmp_path / "bass.wav").write_bytes(CONTENT)
    said = {
        "endpoint": tus.url,
        "path": str(tmp_path / "bass.wav"),
        "headers": tus.headers,
        "metadata": {"filename": "bass.wav", "purpose": "note", "target": "7"},
        "chunkSize": CHUNK_BYTES,
        "parallelUploads": 4,
    }

    subprocess.run(
        [node_program(), CLIENTS_DIR / "send.cjs", json.dumps(said)], check=True, capture_output=True, timeout=60
    )

    upload = Upload.objects.exclude(concat="partial").get()
    assert (upload.state, len(upload.parts)) == (Upload.State.RECEIVED, 4)
    with default_storage.open(upload.key) as file:
        assert file.read() == CONTENT

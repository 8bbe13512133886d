"""What a sender is told when something around the upload fails, and that the upload ends well once it does not."""

from __future__ import annotations

import random
import sqlite3
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings as house_settings
from django.core.files.storage import default_storage
from django.db import connection
from django.http import HttpResponse
from kombu.exceptions import OperationalError as QueueDownError
from pytest_django.fixtures import Settings

from portal.intake import tasks as intake_tasks
from portal.intake.models import SourceFile
from portal.people.models import User
from portal.uploads.models import Upload
from tests.factories import make_booking
from tests.portal.uploads.receiver import NotingReceiver
from tests.portal.uploads.sending import Sender, row_at

KIB = 1024
CONTENT = random.Random(5).randbytes(3 * KIB * KIB)  # noqa: S311  no secret is made of it


def check_passing(response: HttpResponse, status: int, words: str) -> None:
    """A status that clients try again after, and a sentence for their person."""
    assert (response.status_code, response["Retry-After"]) == (status, "5")
    assert words in response.content.decode()
    assert "is saved" in response.content.decode()


def check_received(sender: Sender, path: str) -> None:
    assert sender.head(path)["Upload-Offset"] == str(len(CONTENT))
    upload = row_at(path)
    assert upload.state == Upload.State.RECEIVED
    with default_storage.open(upload.key) as file:
        assert file.read() == CONTENT


def mount(folder: Path, options: str) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    command = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(folder)]
    if subprocess.run(command, check=False, capture_output=True).returncode != 0:
        pytest.skip("no file system may be mounted here")


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    folder = tmp_path / "uploads"
    mount(folder, "size=1m")
    yield folder
    subprocess.run(["umount", "--lazy", folder], check=True)


@pytest.mark.django_db
def test_a_full_disk_is_507_what_fitted_is_kept_and_with_room_it_goes_on(
    sender: Sender, small_disk: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        # Somebody else fills the disk after the upload was let in.
        patch.setattr("shutil.disk_usage", lambda _: type("Usage", (), {"free": 10**9})())
        path = sender.new(len(CONTENT))

    check_passing(sender.patch(path, CONTENT, 0), 507, "disk is full")
    offset = int(sender.head(path)["Upload-Offset"])
    assert 0 < offset < KIB * KIB

    subprocess.run(["mount", "-o", "remount,size=8m", small_disk], check=True)
    assert sender.patch(path, CONTENT[offset:], offset).status_code == 204
    check_received(sender, path)


@pytest.mark.django_db
def test_a_disk_that_fills_up_in_the_store_is_507_and_with_room_it_is_received(sender: Sender, tmp_path: Path) -> None:
    store = tmp_path / "store"
    mount(store, "size=1m")
    try:
        path = sender.new(len(CONTENT))
        check_passing(sender.patch(path, CONTENT, 0), 507, "disk is full")
        assert row_at(path).state == Upload.State.OPEN

        subprocess.run(["mount", "-o", "remount,size=8m", store], check=True)
        check_received(sender, path)
    finally:
        subprocess.run(["umount", "--lazy", store], check=True)


@pytest.mark.django_db
def test_a_store_that_refuses_is_503_and_when_it_takes_the_file_it_is_received(sender: Sender, tmp_path: Path) -> None:
    # Where the store's folder should be lies a file.
    (tmp_path / "store").write_bytes(b"")
    path = sender.new(len(CONTENT))

    check_passing(sender.patch(path, CONTENT, 0), 503, "cannot accept the file right now")
    assert NotingReceiver.received == []
    assert sender.head(path).status_code == 503

    (tmp_path / "store").unlink()
    check_received(sender, path)


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "sqlite", reason="only SQLite locks the whole database")
def test_a_locked_database_is_503_and_when_it_is_free_the_upload_goes_on(sender: Sender) -> None:
    path = sender.new(len(CONTENT))
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA busy_timeout=50")
    other = sqlite3.connect(str(house_settings.DATABASES["default"]["NAME"]), isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        check_passing(sender.patch(path, CONTENT, 0), 503, "The server is busy")
        # Reading goes on.
        assert sender.head(path)["Upload-Offset"] == "0"
    finally:
        other.execute("ROLLBACK")
        other.close()
        connection.close()

    assert sender.patch(path, CONTENT, 0).status_code == 204
    check_received(sender, path)


@pytest.mark.django_db(transaction=True)
def test_a_queue_that_is_down_does_not_hold_up_what_is_received(
    sender: Sender, owner: User, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.UPLOAD_RECEIVERS = {"source": "portal.intake.files.receivers.SourceReceiver"}
    song = make_booking(client=owner, songs=1).songs.get()
    queued: list[int] = []

    def down(*_: object) -> None:
        raise QueueDownError("Connection refused")

    with monkeypatch.context() as patch:
        patch.setattr(intake_tasks.survey_file, "delay", down)
        response = sender.create(len(CONTENT), CONTENT, purpose="source", target=song.pk)
    source = SourceFile.objects.get()
    assert response.status_code == 201
    check_received(sender, response["Location"])

    # The rows are the truth: with the queue back, the sweep finds the file.
    monkeypatch.setattr(intake_tasks.survey_file, "delay", queued.append)
    SourceFile.objects.update(received_at="2026-01-01T00:00Z")
    intake_tasks.sweep()
    assert queued == [source.pk]

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

import pytest
from django.core.files.base import File
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import OperationalError
from django.http import Http404

from portal.people.models import User
from portal.storage import FolderStorage
from portal.uploads import finishing, originals, parts, services
from portal.uploads.errors import (
    ChecksumMismatchError,
    StoreError,
    UploadBusyError,
    UploadGoneError,
    UploadRefusedError,
)
from portal.uploads.finishing import finish
from portal.uploads.headers import Checksum
from portal.uploads.local_part import LocalPart, part_path
from portal.uploads.models import Upload
from tests.portal.uploads.receiver import NotingReceiver

pytestmark = pytest.mark.django_db
DATA = b"every byte of it"


@pytest.fixture
def complete(owner: User) -> Upload:
    """All bytes are there; nobody has finished it."""
    upload = services.create(user=owner, purpose="note", target_id=1, file_name="bass.wav", length_bytes=len(DATA))
    parts.append(upload, LocalPart(upload.pk), [DATA])
    return upload


def stored(upload: Upload) -> bytes:
    with default_storage.open(upload.key) as file:
        content: bytes = file.read()
    return content


def test_finishing_twice_hands_on_once(complete: Upload) -> None:
    finish(complete)
    finish(complete)

    assert [upload.pk for upload in NotingReceiver.received] == [complete.pk]
    assert stored(complete) == DATA


@pytest.mark.parametrize("step", ["note_content", "store", "hand_on"])
def test_a_process_killed_at_any_step_loses_nothing(
    complete: Upload, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    """The step happens, then the process is gone; another one finishes the upload."""
    with monkeypatch.context() as killed:
        kill_after(killed, step)
        with pytest.raises(KeyboardInterrupt):
            finish(complete)

    finish(complete)

    complete.refresh_from_db()
    assert complete.state == Upload.State.RECEIVED
    assert complete.sha256 == hashlib.sha256(DATA).hexdigest()
    assert stored(complete) == DATA


def kill_after(patch: pytest.MonkeyPatch, step: str) -> None:
    owner = Upload if step == "note_content" else finishing
    do = getattr(owner, step)

    def do_and_die(*arguments: object, **named: object) -> None:
        if step != "hand_on":
            do(*arguments, **named)
        raise KeyboardInterrupt

    patch.setattr(owner, step, do_and_die)


def test_a_database_that_is_locked_leaves_the_upload_to_be_finished_later(
    complete: Upload, monkeypatch: pytest.MonkeyPatch
) -> None:
    def locked(self: object, *, upload: Upload) -> None:
        raise OperationalError("database is locked")

    with monkeypatch.context() as patch:
        patch.setattr(NotingReceiver, "receive", locked)
        with pytest.raises(OperationalError):
            finish(complete)

    assert Upload.objects.get().state == Upload.State.OPEN
    finish(complete)
    assert Upload.objects.get().state == Upload.State.RECEIVED


def test_half_a_copy_from_a_killed_process_is_replaced(complete: Upload) -> None:
    sha256 = hashlib.sha256(DATA).hexdigest()
    half = Path(default_storage.path(originals.key_for(sha256)))
    half.parent.mkdir(parents=True)
    half.write_bytes(DATA[:5])

    finish(complete)

    complete.refresh_from_db()
    assert stored(complete) == DATA


def test_a_store_that_spoils_the_file_is_noticed_before_we_say_received(
    complete: Upload, monkeypatch: pytest.MonkeyPatch
) -> None:
    save: Callable[..., str] = FolderStorage._save  # type: ignore[attr-defined]  # the stubs leave it out

    def spoil(self: FolderStorage, name: str, content: File[bytes]) -> str:
        saved_as = save(self, name, content)
        Path(self.path(saved_as)).unlink()
        Path(self.path(saved_as)).write_bytes(b"every bite of it")
        return saved_as

    monkeypatch.setattr(FolderStorage, "_save", spoil)

    with pytest.raises(StoreError):
        finish(complete)

    complete.refresh_from_db()
    assert complete.state == Upload.State.REFUSED
    assert "send it again" in complete.refusal
    assert NotingReceiver.received == []


def test_a_plain_form_takes_a_file_whole(owner: User) -> None:
    upload = services.take_whole(
        user=owner, purpose="note", target_id=1, uploaded_file=SimpleUploadedFile("kick.wav", DATA)
    )

    assert (upload.state, upload.file_name) == (Upload.State.RECEIVED, "kick.wav")
    assert stored(upload) == DATA


def test_an_upload_that_expired_cannot_go_on(complete: Upload) -> None:
    complete.expire()

    with pytest.raises(UploadGoneError):
        services.append(upload=complete, at_offset=len(DATA), pieces=lambda _: [])


def test_a_place_that_is_gone_when_the_file_arrives_refuses_it(
    complete: Upload, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(self: object, *, upload: Upload) -> None:
        raise Http404

    monkeypatch.setattr(NotingReceiver, "receive", gone)

    with pytest.raises(UploadRefusedError):
        finish(complete)

    complete.refresh_from_db()
    assert complete.state == Upload.State.REFUSED
    assert stored(complete) == DATA


def test_the_same_content_arriving_twice_in_one_moment_is_left_to_one_after_the_other(complete: Upload) -> None:
    with parts.locked(hashlib.sha256(DATA).hexdigest()), pytest.raises(UploadBusyError):
        finish(complete)
    assert Upload.objects.get().state == Upload.State.OPEN

    finish(complete)
    assert Upload.objects.get().state == Upload.State.RECEIVED


def test_what_another_machine_stored_in_the_meantime_is_left_alone(
    complete: Upload, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The other one's copy appears after we looked and before we store."""
    save: Callable[..., str] = FolderStorage._save  # type: ignore[attr-defined]  # the stubs leave it out

    def save_second(self: FolderStorage, name: str, content: File[bytes]) -> str:
        first = Path(self.path(name))
        first.parent.mkdir(parents=True)
        first.write_bytes(DATA)
        return save(self, name, content)

    monkeypatch.setattr(FolderStorage, "_save", save_second)

    finish(complete)

    complete.refresh_from_db()
    assert stored(complete) == DATA
    assert [path.name for path in (tmp_path / "store").rglob("*") if path.is_file()] == [complete.sha256]


def test_a_creation_whose_bytes_are_refused_leaves_nothing(owner: User) -> None:
    upload = services.create(user=owner, purpose="note", target_id=1, file_name="a.wav", length_bytes=4)

    with pytest.raises(ChecksumMismatchError):
        services.begin(upload=upload, pieces=lambda _: [b"1234"], checksum=Checksum("sha1", bytes(20)))

    assert not Upload.objects.exists()
    assert not part_path(upload.pk).exists()

"""Resumable parts on a real S3 server that checks signatures."""

from __future__ import annotations

import contextlib
import hashlib
import random
import signal
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from botocore.exceptions import ClientError
from django.utils import timezone
from pytest_django.fixtures import Settings

from portal import object_storage
from portal.uploads import finishing, multipart, tasks
from portal.uploads.expiry import KEPT_OPEN
from portal.uploads.models import Upload
from tests.object_store import BUCKET, ObjectStore, serving
from tests.portal.uploads.receiver import NotingReceiver
from tests.portal.uploads.sending import Sender, base64_of, row_at

pytestmark = pytest.mark.django_db
MIB = 1024**2
SIZE_BYTES = 16 * MIB + 12_345
CHUNK_BYTES = 3 * MIB


def bytes_of(seed: int | str, length: int = SIZE_BYTES) -> bytes:
    """Bytes that repeat nowhere."""
    return random.Random(seed).randbytes(length)  # noqa: S311  no secret is made of them


CONTENT = bytes_of(3)


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ObjectStore]:
    with serving(tmp_path_factory.mktemp("s3")) as store:
        yield store


@pytest.fixture
def store(server: ObjectStore, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> ObjectStore:
    """The least size of a part, and a client that does not wait long for a server that is away."""
    monkeypatch.setattr(multipart, "PART_BYTES", 5 * MIB)
    for name, least in (("CONNECT_TIMEOUT_S", 2), ("READ_TIMEOUT_S", 5), ("TRIES", 1)):
        monkeypatch.setattr(object_storage, name, least)
    server.use(settings)
    return server


def stored(store: ObjectStore, key: str) -> bytes:
    content: bytes = store.client.get_object(Bucket=BUCKET, Key=key)["Body"].read()
    return content


def left_behind(store: ObjectStore) -> tuple[list[Any], list[Any]]:
    begun = store.client.list_multipart_uploads(Bucket=BUCKET).get("Uploads", [])
    return begun, store.client.list_objects_v2(Bucket=BUCKET, Prefix=multipart.ARRIVING).get("Contents", [])


def send(sender: Sender, path: str, content: bytes, *, start: int = 0, stop: int | None = None) -> None:
    for offset in range(start, len(content) if stop is None else stop, CHUNK_BYTES):
        answer = sender.patch(path, content[offset : offset + CHUNK_BYTES], offset)
        assert answer.status_code == 204, answer.content


def test_the_server_checks_signatures(store: ObjectStore) -> None:
    client = store.client
    client._request_signer._credentials.secret_key = "another"

    with pytest.raises(ClientError, match="SignatureDoesNotMatch"):
        client.list_objects_v2(Bucket=BUCKET)


def test_parts_go_out_while_it_comes_and_nothing_stays(sender: Sender, store: ObjectStore, tmp_path: Any) -> None:
    path = sender.new(SIZE_BYTES)
    send(sender, path, CONTENT, stop=12 * MIB)

    upload = row_at(path)
    parts = store.client.list_parts(Bucket=BUCKET, Key=f"arriving/{upload.pk}", UploadId=upload.multipart_id)["Parts"]
    assert [part["Size"] for part in parts] == [5 * MIB, 5 * MIB]
    assert [path.name for path in (tmp_path / "uploads").glob("*.spool")] == [f"{upload.pk}.2.spool"]

    send(sender, path, CONTENT, start=12 * MIB)

    (received,) = NotingReceiver.received
    assert received.sha256 == hashlib.sha256(CONTENT).hexdigest()
    assert stored(store, received.key) == CONTENT
    assert left_behind(store) == ([], [])
    assert list((tmp_path / "uploads").iterdir()) == []


def test_twenty_interruptions_leave_every_byte_in_its_place(
    sender: Sender, store: ObjectStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Connections dropped at random bytes, and processes killed before or after a random step at the store."""
    chance, content = random.Random(7), bytes_of(8)  # noqa: S311
    path, interruptions = sender.new(SIZE_BYTES), 0
    while row_at(path).state == Upload.State.OPEN:
        offset = int(sender.head(path)["Upload-Offset"])
        length = (
            min(SIZE_BYTES - offset, chance.randrange(1, 2 * SIZE_BYTES // 20)) if interruptions < 20 else CHUNK_BYTES
        )
        with monkeypatch.context() as killed:
            step = chance.choice(["none", "upload_part", "unlink", "note"]) if interruptions < 20 else "none"
            break_at(killed, step)
            with contextlib.suppress(KeyboardInterrupt):
                sender.patch(path, content[offset : offset + length], offset)
        interruptions += 1

    assert interruptions > 20
    (received,) = NotingReceiver.received
    assert received.sha256 == hashlib.sha256(content).hexdigest()
    assert stored(store, received.key) == content


def break_at(patch: pytest.MonkeyPatch, step: str) -> None:
    """The process dies right after a part went out, before its copy here is gone, or before the row knows of bytes."""

    def die(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    if step == "note":
        patch.setattr(Upload, "advance_to", die)
    if step == "unlink":
        patch.setattr("pathlib.Path.unlink", die)
    if step == "upload_part":
        patch.setattr(multipart.MultipartPart, "send_out", die)


@pytest.mark.parametrize("step", ["complete", "hash_whole", "place", "hand_on"])
def test_a_process_killed_while_it_finishes_loses_nothing(
    sender: Sender, store: ObjectStore, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    content = bytes_of(step, 6 * MIB)
    owner: Any = multipart.MultipartPart if step in ("complete", "place") else finishing
    do, path = getattr(owner, step), sender.new(len(content))

    def do_and_die(*arguments: Any, **named: Any) -> None:
        if step != "hand_on":
            do(*arguments, **named)
        raise KeyboardInterrupt

    with monkeypatch.context() as killed:
        killed.setattr(owner, step, do_and_die)
        with pytest.raises(KeyboardInterrupt):
            sender.patch(path, content, 0)

    assert sender.head(path)["Upload-Offset"] == str(len(content))
    assert stored(store, row_at(path).key) == content
    assert left_behind(store) == ([], [])


def test_the_same_content_twice_is_one_object(sender: Sender, store: ObjectStore) -> None:
    for _ in range(2):
        sender.create(SIZE_BYTES, CONTENT)

    first, second = NotingReceiver.received
    assert first.key == second.key
    assert stored(store, first.key) == CONTENT


def test_a_small_file_goes_as_one(sender: Sender, store: ObjectStore) -> None:
    sender.create(1_000, CONTENT[:1_000])

    assert stored(store, NotingReceiver.received[0].key) == CONTENT[:1_000]


def test_a_checksum_that_fails_over_several_parts_takes_all_of_it_back(sender: Sender, store: ObjectStore) -> None:
    path = sender.new(SIZE_BYTES)
    send(sender, path, CONTENT, stop=CHUNK_BYTES)
    wrong = base64_of(hashlib.sha256(b"").digest())

    answer = sender.patch(path, CONTENT[CHUNK_BYTES:], CHUNK_BYTES, Upload_Checksum=f"sha256 {wrong}")

    assert answer.status_code == 460
    send(sender, path, CONTENT, start=CHUNK_BYTES)
    assert stored(store, NotingReceiver.received[-1].key) == CONTENT


def test_the_one_that_waits_here_being_lost_the_sender_begins_anew(
    sender: Sender, store: ObjectStore, tmp_path: Any
) -> None:
    path = sender.new(SIZE_BYTES)
    send(sender, path, CONTENT, stop=2 * CHUNK_BYTES)
    next((tmp_path / "uploads").glob("*.spool")).unlink()

    assert sender.patch(path, CONTENT[2 * CHUNK_BYTES :], 2 * CHUNK_BYTES).status_code == 409
    assert sender.head(path)["Upload-Offset"] == "0"
    assert left_behind(store) == ([], [])
    send(sender, path, CONTENT)
    assert stored(store, NotingReceiver.received[-1].key) == CONTENT


def test_parts_that_the_store_lost_are_noticed_before_we_say_received(sender: Sender, store: ObjectStore) -> None:
    path = sender.new(SIZE_BYTES)
    send(sender, path, CONTENT, stop=12 * MIB)
    upload = row_at(path)
    multipart.end_multipart(f"arriving/{upload.pk}", upload.multipart_id)
    Upload.objects.filter(pk=upload.pk).update(length_bytes=12 * MIB)

    answer = sender.head(path)

    assert answer.status_code == 500
    assert row_at(path).state == Upload.State.REFUSED
    assert sender.head(path).status_code == 410


def test_an_upload_that_the_store_ended_is_begun_anew(sender: Sender, store: ObjectStore) -> None:
    path = sender.new(SIZE_BYTES)
    send(sender, path, CONTENT, stop=12 * MIB)
    upload = row_at(path)
    multipart.end_multipart(f"arriving/{upload.pk}", upload.multipart_id)

    assert sender.patch(path, CONTENT[12 * MIB :], 12 * MIB).status_code == 500
    assert sender.head(path).status_code == 410


def test_a_store_that_does_not_answer_is_503_and_the_upload_goes_on_when_it_does(
    sender: Sender, store: ObjectStore
) -> None:
    path, content = sender.new(SIZE_BYTES), bytes_of(9)
    send(sender, path, content, stop=2 * CHUNK_BYTES)
    store.process.send_signal(signal.SIGSTOP)
    try:
        answer = sender.patch(path, content[2 * CHUNK_BYTES :], 2 * CHUNK_BYTES)
    finally:
        store.process.send_signal(signal.SIGCONT)

    assert answer.status_code == 503
    assert answer["Retry-After"] == "5"
    assert "cannot accept the file right now" in answer.content.decode()
    # Everything came, and is kept: asking where it stands brings it to its end.
    assert sender.head(path)["Upload-Offset"] == str(SIZE_BYTES)
    assert stored(store, NotingReceiver.received[-1].key) == content


def test_abandoned_it_is_ended_at_the_store(sender: Sender, store: ObjectStore, tmp_path: Any) -> None:
    path = sender.new(SIZE_BYTES)
    send(sender, path, CONTENT, stop=2 * CHUNK_BYTES)
    going_on = sender.new(SIZE_BYTES)
    send(sender, going_on, CONTENT, stop=2 * CHUNK_BYTES)
    Upload.objects.filter(pk=row_at(path).pk).update(touched_at=timezone.now() - KEPT_OPEN - timedelta(seconds=1))
    # What a process that was killed between the store and the row left.
    store.client.create_multipart_upload(Bucket=BUCKET, Key="arriving/nobody")
    store.client.put_object(Bucket=BUCKET, Key="arriving/nobody-either", Body=b"x")

    tasks.expire_abandoned()

    begun, whole = left_behind(store)
    assert [upload["Key"] for upload in begun] == [f"arriving/{row_at(going_on).pk}"]
    assert whole == []
    assert {path.name.split(".")[0] for path in (tmp_path / "uploads").glob("*.spool")} == {str(row_at(going_on).pk)}
    sender.request("DELETE", going_on)
    assert left_behind(store) == ([], [])


def test_no_file_is_too_long_for_the_number_of_parts() -> None:
    # Source: Amazon S3, multipart upload limits: 10,000 parts of 5 MiB to 5 GiB.
    for length_bytes in (1, 32 * 1024**3, 5 * 1024**4):
        size = multipart.part_bytes(length_bytes)
        assert 5 * MIB <= size <= 5 * 1024**3
        assert -(-length_bytes // size) <= 10_000

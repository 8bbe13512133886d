from __future__ import annotations

import errno
import os
import subprocess
import sys
import uuid
from collections.abc import Iterator
from io import FileIO

import pytest

from portal.people.models import User
from portal.uploads import local_part, parts
from portal.uploads.errors import DiskFullError, OffsetConflictError, TooLargeError, UploadBusyError
from portal.uploads.local_part import LocalPart, part_path
from portal.uploads.models import Upload

pytestmark = pytest.mark.django_db


@pytest.fixture
def upload(owner: User, settings: pytest.FixtureRequest) -> Upload:
    part_path(uuid.uuid4()).parent.mkdir(parents=True, exist_ok=True)
    return Upload.objects.create(owner=owner, purpose="note", target_id=1, file_name="bass.wav", length_bytes=100)


def on_disk(upload: Upload) -> bytes:
    return part_path(upload.pk).read_bytes()


def noted(upload: Upload) -> int:
    return Upload.objects.get(pk=upload.pk).offset_bytes


def test_what_came_before_a_fault_is_kept(upload: Upload) -> None:
    def broken() -> Iterator[bytes]:
        yield b"0123456789"
        raise TooLargeError("too much")

    with pytest.raises(TooLargeError):
        parts.append(upload, LocalPart(upload.pk), broken())

    assert (on_disk(upload), noted(upload)) == (b"0123456789", 10)


def test_it_is_noted_while_it_comes_not_only_at_the_end(upload: Upload, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parts, "NOTED_EVERY_S", 0.0)
    seen: list[int] = []

    def slowly() -> Iterator[bytes]:
        for _ in range(3):
            yield b"12345"
            seen.append(noted(upload))

    parts.append(upload, LocalPart(upload.pk), slowly())

    assert seen == [5, 10, 15]


def test_bytes_that_were_written_but_never_noted_are_cut_off(upload: Upload) -> None:
    parts.append(upload, LocalPart(upload.pk), [b"kept"])
    with part_path(upload.pk).open("ab") as part:
        part.write(b"from a process that was killed")

    parts.append(upload, LocalPart(upload.pk), [b"+more"])

    assert (on_disk(upload), noted(upload)) == (b"kept+more", 9)


def test_a_part_that_is_shorter_than_noted_sends_the_client_back_to_what_there_is(upload: Upload) -> None:
    parts.append(upload, LocalPart(upload.pk), [b"0123456789"])
    parts.append(upload, LocalPart(upload.pk), [b"abc"])
    os.truncate(part_path(upload.pk), 12)

    with pytest.raises(OffsetConflictError):
        parts.append(upload, LocalPart(upload.pk), [b"x"])

    # As far as a whole stretch of it is proven.
    assert noted(upload) == 10


def test_a_full_disk_keeps_what_fitted_and_says_so(upload: Upload, monkeypatch: pytest.MonkeyPatch) -> None:
    def full_after_six(self: FileIO, data: memoryview) -> int:
        room = 6 - self.tell()
        if room <= 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        return os.write(self.fileno(), data[:room])

    monkeypatch.setattr(local_part, "FileIO", type("SmallDisk", (FileIO,), {"write": full_after_six}))

    with pytest.raises(DiskFullError, match="is saved"):
        parts.append(upload, LocalPart(upload.pk), [b"01234567"])

    assert (on_disk(upload), noted(upload)) == (b"012345", 6)


TRY_LOCK = """
import fcntl, sys
with open(sys.argv[1], "a") as lock:
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        sys.exit(1)
"""


def another_process_gets(upload: Upload) -> bool:
    path = str(parts.lock_path(upload.pk))
    return subprocess.run([sys.executable, "-c", TRY_LOCK, path], check=False).returncode == 0


def test_two_processes_cannot_write_to_one_upload(upload: Upload) -> None:
    with parts.locked(upload.pk):
        assert not another_process_gets(upload)
        with pytest.raises(UploadBusyError), parts.locked(upload.pk):
            pass

    assert another_process_gets(upload)

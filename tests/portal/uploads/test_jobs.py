from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from portal.people.models import User
from portal.uploads import jobs, parts, services, tasks
from portal.uploads.expiry import KEPT_OPEN
from portal.uploads.local_part import LocalPart, part_path
from portal.uploads.models import Upload
from tests.portal.uploads.receiver import NotingReceiver

pytestmark = pytest.mark.django_db


def make_upload(owner: User, *, length: int = 4, sent: bytes = b"1234", left_for: timedelta = timedelta(0)) -> Upload:
    upload = services.create(user=owner, purpose="note", target_id=1, file_name="a.wav", length_bytes=length)
    parts.append(upload, LocalPart(upload.pk), [sent])
    Upload.objects.filter(pk=upload.pk).update(touched_at=timezone.now() - left_for)
    return upload


def test_what_a_killed_process_left_is_finished_once(owner: User) -> None:
    make_upload(owner, left_for=jobs.LEFT_ALONE_FOR + timedelta(seconds=1))

    for _ in range(2):
        tasks.finish_waiting()

    assert Upload.objects.get().state == Upload.State.RECEIVED
    assert len(NotingReceiver.received) == 1


def test_what_a_request_is_just_finishing_is_left_to_it(owner: User) -> None:
    make_upload(owner)

    tasks.finish_waiting()

    assert Upload.objects.get().state == Upload.State.OPEN


def test_one_that_cannot_be_finished_does_not_hold_up_the_others(owner: User) -> None:
    stuck, fine = (make_upload(owner, left_for=timedelta(hours=1)) for _ in range(2))

    with parts.locked(stuck.pk):
        tasks.finish_waiting()

    assert {upload.pk: upload.state for upload in Upload.objects.all()} == {
        stuck.pk: Upload.State.OPEN,
        fine.pk: Upload.State.RECEIVED,
    }


def test_an_abandoned_upload_expires_and_its_bytes_go(owner: User) -> None:
    old = make_upload(owner, length=100, left_for=KEPT_OPEN + timedelta(seconds=1))
    young = make_upload(owner, length=100, left_for=KEPT_OPEN - timedelta(minutes=1))

    for _ in range(2):
        tasks.expire_abandoned()

    assert not part_path(old.pk).exists()
    assert part_path(young.pk).exists()
    assert Upload.objects.get(pk=old.pk).state == Upload.State.EXPIRED
    assert Upload.objects.get(pk=young.pk).state == Upload.State.OPEN


def test_an_upload_that_is_being_sent_does_not_expire(owner: User) -> None:
    upload = make_upload(owner, length=100, left_for=timedelta(days=30))

    with parts.locked(upload.pk):
        tasks.expire_abandoned()

    assert Upload.objects.get().state == Upload.State.OPEN
    assert part_path(upload.pk).exists()


def test_strays_of_uploads_that_are_over_are_swept_out(owner: User) -> None:
    over, going_on = make_upload(owner), make_upload(owner, length=100)
    over.refuse(reason="no")
    parts.lock_path(over.pk).touch()

    tasks.expire_abandoned()

    assert not part_path(over.pk).exists()
    assert not parts.lock_path(over.pk).exists()
    assert part_path(going_on.pk).exists()

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.files.storage import default_storage
from django.utils import timezone

from portal import making
from portal.intake import hooks
from portal.intake.models import SourceFile
from portal.lanes import jobs, tasks
from portal.lanes.models import PlayCopy
from portal.lanes.services import copy_soon
from tests.factories import store_content
from tests.signs import long_work

pytestmark = pytest.mark.django_db
LONG_AGO = timezone.now() - timedelta(hours=1)


def test_a_copy_counts_its_original_s_frames(copied: SourceFile) -> None:
    copy = copied.play_copy
    assert (copy.state, copy.sample_rate_hz, copy.channels, copy.frames) == ("made", 48_000, 2, 20 * 48_000)


def test_made_again_nothing_changes(copied: SourceFile) -> None:
    key = copied.play_copy.key
    tasks.make_copy(copied.pk)
    assert PlayCopy.objects.get().key == key


def test_what_cannot_be_read_says_why_once(source: SourceFile) -> None:
    sha256 = store_content(b"no sound at all")
    SourceFile.objects.update(key=f"originals/{sha256[:2]}/{sha256}")
    jobs.make_copy(source.pk)
    copy = PlayCopy.objects.get()
    assert (copy.state, copy.tries) == ("failed", 1)
    assert copy.trouble


def test_a_file_that_kills_its_worker_is_given_up(source: SourceFile) -> None:
    PlayCopy.objects.create(source=source, tries=making.MOST_TRIES)
    jobs.make_copy(source.pk)
    assert PlayCopy.objects.get().state == "failed"


def test_unsurveyed_and_cleared_files_get_none(source: SourceFile) -> None:
    for fields in ({"status": "received"}, {"status": "surveyed", "gone_at": LONG_AGO}):
        SourceFile.objects.update(**fields)
        jobs.make_copy(source.pk)
    assert not PlayCopy.objects.exists()


def test_the_sweep_finds_what_never_began_and_what_was_lost(
    source: SourceFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    queued: list[int] = []
    monkeypatch.setattr(tasks.make_copy, "delay", queued.append)
    tasks.sweep()
    assert queued == []
    SourceFile.objects.update(received_at=LONG_AGO)
    tasks.sweep()
    copy = PlayCopy.objects.create(source=source)
    tasks.sweep()
    PlayCopy.objects.update(began_at=LONG_AGO)
    tasks.sweep()
    copy.fail("broken")
    tasks.sweep()
    assert queued == [source.pk, source.pk]


def test_a_copy_goes_with_its_original_unless_another_file_has_the_same(copied: SourceFile) -> None:
    key = copied.play_copy.key
    twin = SourceFile.objects.get(pk=copied.pk)
    twin.pk = None
    twin.save()
    jobs.make_copy(twin.pk)
    for source in (copied, twin):
        assert default_storage.exists(key)
        SourceFile.objects.filter(pk=source.pk).update(gone_at=timezone.now())
        jobs.clear_gone()
    assert not default_storage.exists(key)
    assert not PlayCopy.objects.exists()


def test_a_measured_file_has_one_made() -> None:
    assert copy_soon in hooks.on_file_measured


def test_a_copy_that_takes_long_is_not_begun_again_while_its_worker_lives(
    source: SourceFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    left: list[list[int]] = []

    def written(*_: object) -> str:
        left.append(jobs.left_alone())
        return "took too long"

    monkeypatch.setattr(making, "alive", long_work(lambda: PlayCopy.objects.update(began_at=LONG_AGO)))
    monkeypatch.setattr(jobs, "write_proxy_in_child", written)
    jobs.make_copy(source.pk)
    assert left == [[]]


def test_a_copy_that_is_made_after_all_has_no_trouble(source: SourceFile) -> None:
    copy = PlayCopy.objects.create(source=source, state=PlayCopy.State.FAILED, trouble="could not be read to the end")
    copy.finish(key="copies/some.flac", sample_rate_hz=48_000, channels=2, frames=1)
    copy.refresh_from_db()
    assert (copy.state, copy.trouble) == ("made", "")

"""What a song's check waits for, by facts alone and as the rows say it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from portal.bookings.models import Song
from portal.intake.files.announcing import announce
from portal.intake.files.waiting import (
    UPLOAD_LEFT_AFTER,
    ArrivalFacts,
    Awaited,
    Queue,
    awaited_of,
    note_change,
    start_check,
    waiting_to_check,
)
from portal.intake.models import Announcement, FileCourse, SourceFile
from portal.intake.tasks import measure_song
from portal.people.models import House
from portal.uploads.models import Upload
from tests.factories import make_client, make_sent_zip, make_song, make_source

MINE = Queue(user_id=1, name="Mara Quillfen", files=2)


@pytest.mark.parametrize(
    ("facts", "awaited"),
    [
        ({}, []),
        ({"unsurveyed": 3}, [("measured", 3)]),
        ({"packed": 1}, [("unpacked", 1)]),
        ({"under_way": 2}, [("sent", 2)]),
        ({"queues": (MINE,)}, [("queued", 2)]),
        ({"queues": (MINE, Queue(2, "Ode Tarn", 1))}, [("queued", 2), ("queued", 1)]),
        ({"queues": (Queue(1, "Mara Quillfen", 0),)}, []),
        ({"still_s": 20.2, "quiet_s": 60}, [("quiet", 40)]),
        ({"still_s": 59.9, "quiet_s": 60}, [("quiet", 1)]),
        ({"still_s": 60.0, "quiet_s": 60}, []),
        ({"still_s": -3.0, "quiet_s": 60}, [("quiet", 60)]),  # a clock that was set back
        ({"still_s": 0.0, "quiet_s": 0}, []),
        ({"still_s": None, "quiet_s": 60}, []),
        ({"still_s": 1.0, "quiet_s": 60, "is_all_sent": True}, []),
        ({"unsurveyed": 1, "still_s": 1.0, "quiet_s": 60, "is_all_sent": True}, [("measured", 1)]),
        ({"queues": (MINE,), "is_all_sent": True}, [("queued", 2)]),
        (
            {"queues": (MINE,), "under_way": 1, "packed": 1, "unsurveyed": 1, "still_s": 0.0, "quiet_s": 9},
            [("queued", 2), ("sent", 1), ("unpacked", 1), ("measured", 1), ("quiet", 9)],
        ),
    ],
)
def test_what_is_awaited(facts: dict[str, Any], awaited: list[tuple[str, int]]) -> None:
    assert [(one.code, one.count) for one in waiting_to_check(ArrivalFacts(**facts))] == awaited


@pytest.fixture
def song(db: None) -> Song:
    return make_song(client=make_client(name="Mara Quillfen"))


def make_upload(song: Song, **fields: Any) -> Upload:
    owner = song.booking.created_by
    fields = {"purpose": "source", "target_id": song.pk, "length_bytes": 100} | fields
    touched_at = fields.pop("touched_at", None)
    upload = Upload.objects.create(owner=owner, booking=song.booking, file_name="bass.wav", **fields)
    if touched_at:
        Upload.objects.filter(pk=upload.pk).update(touched_at=touched_at)
    return upload


def codes(song: Song) -> list[str]:
    return [one.code for one in awaited_of(song)]


def test_a_file_that_waits_for_its_survey_and_a_packed_zip_are_awaited(song: Song) -> None:
    make_source(song=song, status=SourceFile.Status.RECEIVED)
    make_sent_zip(song=song)

    assert codes(song) == ["unpacked", "measured"]


@pytest.mark.parametrize(
    ("fields", "is_awaited"),
    [
        ({}, True),  # reserved, nothing sent yet
        ({"offset_bytes": 40}, True),
        ({"touched_at": timezone.now() - 2 * UPLOAD_LEFT_AFTER}, False),
        ({"offset_bytes": 100, "touched_at": timezone.now() - 2 * UPLOAD_LEFT_AFTER}, True),  # all here, to be stored
        ({"parts": ["a"], "touched_at": timezone.now() - 2 * UPLOAD_LEFT_AFTER}, True),  # being joined
        ({"concat": "partial", "offset_bytes": 100}, True),
        ({"concat": "partial", "offset_bytes": 100, "touched_at": timezone.now() - 2 * UPLOAD_LEFT_AFTER}, False),
        ({"state": Upload.State.RECEIVED}, False),
        ({"state": Upload.State.REFUSED}, False),
        ({"purpose": "rough-mix"}, False),
        ({"target_id": 999_999}, False),
    ],
)
def test_an_upload_that_goes_on_is_awaited(song: Song, fields: dict[str, Any], is_awaited: bool) -> None:
    make_upload(song, **fields)

    assert codes(song) == (["sent"] if is_awaited else [])


def test_parts_of_a_file_are_one_file(song: Song) -> None:
    for _ in range(3):
        make_upload(song, concat="partial")

    assert awaited_of(song) == (Awaited("sent", 1),)


def test_a_new_version_of_one_file_is_awaited_too(song: Song) -> None:
    source = make_source(song=song)
    make_upload(song, purpose="bounce", target_id=source.pk)

    assert codes(song) == ["sent"]


def test_files_in_two_browsers_of_one_person_are_counted_together(song: Song) -> None:
    client = song.booking.members.get().user
    announce(song=song, by=client, tab="a", files=2)
    announce(song=song, by=client, tab="b", files=1)
    announce(song=song, by=song.booking.created_by, tab="a", files=4)

    assert [one.count for one in awaited_of(song)] == [3, 4]


def test_a_browser_that_is_gone_is_not_waited_for(song: Song) -> None:
    announce(song=song, by=song.booking.created_by, tab="a", files=2)
    Announcement.objects.update(expires_at=timezone.now() - timedelta(seconds=1))

    assert not awaited_of(song)


def test_the_house_s_quiet_time_is_counted_from_the_last_file(song: Song) -> None:
    House.objects.update_or_create(pk=1, defaults={"quiet_after_files_s": 60})
    note_change(song)
    FileCourse.objects.update(last_change_at=timezone.now() - timedelta(seconds=20))

    assert awaited_of(song) == (Awaited("quiet", 40),)


class TestStarting:
    @pytest.fixture
    def queued(self, monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Any) -> Callable[[Song], Any]:
        """How the song's check was queued: at once, after seconds, or not at all."""
        queue: list[int | str] = []
        monkeypatch.setattr(measure_song, "delay", lambda _: queue.append("at once"))
        monkeypatch.setattr(measure_song, "apply_async", lambda _, countdown: queue.append(countdown))

        def start(song: Song) -> list[int | str]:
            with django_capture_on_commit_callbacks(execute=True):
                start_check(song)
            return queue

        return start

    def test_at_once_where_nothing_is_awaited(self, song: Song, queued: Callable[[Song], Any]) -> None:
        assert queued(song) == ["at once"]

    def test_just_after_the_quiet_time(self, song: Song, queued: Callable[[Song], Any]) -> None:
        House.objects.update_or_create(pk=1, defaults={"quiet_after_files_s": 60})
        note_change(song)

        assert queued(song) == [61]

    def test_not_while_a_file_is_on_its_way(self, song: Song, queued: Callable[[Song], Any]) -> None:
        make_upload(song)

        assert queued(song) == []

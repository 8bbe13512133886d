from __future__ import annotations

from decimal import Decimal

import pytest
from pytest_django import DjangoCaptureOnCommitCallbacks

from portal.bookings.models import Song
from portal.bookings.services import save_brief
from portal.bookings.stages import BookingStage, SongStage
from portal.intake import tasks
from portal.intake.errors import SongClosedError
from portal.intake.files import services as song_files
from portal.people.models import User
from portal.uploads.models import Upload
from tests.factories import (
    make_booking,
    make_song,
)

pytestmark = pytest.mark.django_db


def make_upload(owner: User, **fields: object) -> Upload:
    defaults = {"purpose": "source", "target_id": 1, "file_name": "bass.wav", "length_bytes": 1_500_000}
    return Upload.objects.create(owner=owner, sha256="ab" * 32, key="originals/ab/" + "ab" * 32, **(defaults | fields))


class TestReceive:
    def test_a_received_file_is_checked(
        self,
        client_user: User,
        django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:
        song = make_song(client=client_user)
        started: list[int] = []
        monkeypatch.setattr(tasks.survey_file, "delay", started.append)

        with django_capture_on_commit_callbacks(execute=True):
            source = song_files.receive(upload=make_upload(client_user), song=song)

        song.refresh_from_db()
        assert started == [source.pk]
        assert song.stage == SongStage.CHECKING
        assert "sent “bass.wav” (1.5 MB)" in song.timeline.values_list("text", flat=True)

    def test_a_queue_that_is_down_does_not_lose_the_file(
        self,
        client_user: User,
        django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks,
        monkeypatch: pytest.MonkeyPatch,
    ) -> None:
        def down(_: int) -> None:
            raise ConnectionError

        monkeypatch.setattr(tasks.survey_file, "delay", down)

        with django_capture_on_commit_callbacks(execute=True):
            source = song_files.receive(upload=make_upload(client_user), song=make_song(client=client_user))

        source.refresh_from_db()
        assert source.status == source.Status.RECEIVED

    @pytest.mark.parametrize("stage", [SongStage.TRACKING, SongStage.IN_REVIEW])
    def test_a_late_file_leaves_a_song_at_work_where_it_is(
        self, song: Song, client_user: User, stage: SongStage
    ) -> None:
        song.move_to(stage)

        song_files.receive(upload=make_upload(client_user), song=song)

        song.refresh_from_db()
        assert song.stage == stage

    @pytest.mark.parametrize("stage", [SongStage.DELIVERED, SongStage.ACCEPTED])
    def test_a_delivered_song_takes_no_files(self, song: Song, stage: SongStage) -> None:
        song.move_to(stage)

        with pytest.raises(SongClosedError, match="no longer accepts files"):
            song_files.check_takes_files(song)

    def test_a_booking_that_is_over_takes_no_files(self) -> None:
        booking = make_booking(stage=BookingStage.CANCELLED)
        song = Song.objects.create(booking=booking, title="Late", position=1)

        with pytest.raises(SongClosedError, match="cancelled"):
            song_files.check_takes_files(song)


class TestRemove:
    def test_a_file_taken_out_is_kept_and_the_song_checked_again(self, song: Song, client_user: User) -> None:
        source = song.sources.get()

        for _ in range(2):
            song_files.remove(source=source, by=client_user)

        song.refresh_from_db()
        assert song.sources.count() == 1
        assert not song.sources.current().exists()
        assert song.stage == SongStage.CHECKING
        assert list(song.timeline.values_list("text", flat=True)).count("removed “bass.wav”") == 1


class TestBrief:
    def test_a_changed_brief_has_the_song_checked_again(self, song: Song, client_user: User) -> None:
        save_brief(song=song, by=client_user, bpm=Decimal(112))

        song.refresh_from_db()
        assert song.stage == SongStage.CHECKING

    def test_a_brief_before_the_files_checks_nothing(self, client_user: User) -> None:
        song = make_song(client=client_user)

        save_brief(song=song, by=client_user, bpm=Decimal(112))

        song.refresh_from_db()
        assert song.stage == SongStage.WAITING

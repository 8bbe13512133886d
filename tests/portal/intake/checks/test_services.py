from __future__ import annotations

from decimal import Decimal

import pytest
from pytest_django import DjangoCaptureOnCommitCallbacks

from analysis.core.reports import Finding as Found
from portal.bookings.models import Brief, Song
from portal.bookings.services import save_brief
from portal.bookings.stages import BookingStage, SongStage
from portal.intake import tasks
from portal.intake.checks import jobs, services
from portal.intake.errors import AnswerError, SongClosedError
from portal.intake.files import services as song_files
from portal.intake.models import SourceFile
from portal.mailroom.models import Message
from portal.people.models import User
from portal.uploads.models import Upload
from tests.factories import (
    make_booking,
    make_check,
    make_message,
    make_song,
    make_source,
    measured_song,
)
from tests.locks import locked_by

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
        assert "sent “bass.wav” (1.4 MB)" in song.timeline.values_list("text", flat=True)

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


class TestAnswer:
    def test_the_offered_tempo_goes_into_the_brief_and_says_that_there_is_no_click(
        self, song: Song, asked: Message, client_user: User
    ) -> None:
        services.answer(message=asked, code="bpm=112", value="", by=client_user)

        song.refresh_from_db()
        assert song.brief.bpm == Decimal(112)
        assert song.brief.click == Brief.Clicks.MAKE_MAP
        assert song.stage == SongStage.CHECKING

    @pytest.mark.parametrize(("written", "bpm"), [("98,5", "98.5"), ("112 bpm", "112"), ("87.25", "87.25")])
    def test_a_written_tempo_goes_into_the_brief(
        self, song: Song, asked: Message, client_user: User, written: str, bpm: str
    ) -> None:
        services.answer(message=asked, code="bpm", value=written, by=client_user)

        song.refresh_from_db()
        assert song.brief.bpm == Decimal(bpm)

    @pytest.mark.parametrize("written", ["0", "-5", "abc", "1e9", ""])
    def test_a_tempo_that_is_none_changes_nothing_and_the_question_stays(
        self, song: Song, asked: Message, client_user: User, written: str
    ) -> None:
        with pytest.raises(AnswerError):
            services.answer(message=asked, code="bpm", value=written, by=client_user)

        asked.refresh_from_db()
        song.brief.refresh_from_db()
        assert asked.waits_for_answer
        assert song.brief.bpm is None

    def test_no_click_means_that_we_make_the_map(self, song: Song, asked: Message, client_user: User) -> None:
        services.answer(message=asked, code="make-map", value="", by=client_user)

        song.refresh_from_db()
        assert song.brief.click == Brief.Clicks.MAKE_MAP
        assert song.brief.bpm is None

    def test_after_the_answer_the_next_check_moves_the_song_on_without_another_message(
        self, song: Song, asked: Message, client_user: User
    ) -> None:
        services.answer(message=asked, code="bpm=112", value="", by=client_user)
        make_check(song=song, report=measured_song())
        jobs.measure(song.pk)

        song.refresh_from_db()
        assert song.stage == SongStage.ON_DESK
        assert not song.findings.open().exists()
        assert Message.objects.get().state == Message.State.ANSWERED

    def test_an_answer_that_settles_nothing_brings_the_song_to_the_desk(
        self, song: Song, asked: Message, client_user: User
    ) -> None:
        services.answer(message=asked, code="make-map", value="", by=client_user)
        make_check(song=song, report=measured_song("no-click", "no-tempo"))
        jobs.measure(song.pk)

        song.refresh_from_db()
        assert song.stage == SongStage.ON_DESK
        assert Message.objects.count() == 1

    def test_a_question_is_answered_once(self, asked: Message, client_user: User) -> None:
        services.answer(message=asked, code="make-map", value="", by=client_user)

        with pytest.raises(AnswerError, match="no longer needs an answer"):
            services.answer(message=asked, code="bpm=112", value="", by=client_user)

    def test_an_answer_that_was_not_on_offer_is_refused(self, asked: Message, client_user: User) -> None:
        with pytest.raises(AnswerError, match="not one of the possible answers"):
            services.answer(message=asked, code="bpm=999", value="", by=client_user)


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


def test_a_held_question_goes_out_once_and_the_song_with_it(song: Song, drummer: User) -> None:
    held = make_message(
        song=song, key=f"check:{song.pk}:x", state=Message.State.HELD, answers=[{"code": "as-is", "label": "Use them"}]
    )

    for _ in range(2):
        services.send_held(message=held, by=drummer)

    song.refresh_from_db()
    assert song.stage == SongStage.WITH_CLIENT
    assert song.timeline.filter(text__startswith="sent “").count() == 1


class TestSeveralQuestions:
    @pytest.fixture
    def two_things(self, song: Song) -> Message:
        """One message about a tempo and about a file that is of no use."""
        finding = Found(code="not-audio", severity="stop", file="list.wav", value={"reason": "is a text file"})
        make_source(
            song=song,
            name="list.wav",
            status=SourceFile.Status.REFUSED,
            report={"name": "list.wav", "sha256": "", "findings": [finding.to_json()]},
        )
        check(song, "no-click", "no-tempo")
        return Message.objects.get()

    def test_what_an_answer_leaves_open_is_asked_next_and_alone(
        self, song: Song, two_things: Message, client_user: User
    ) -> None:
        services.answer(message=two_things, code="bpm=112", value="", by=client_user)
        check(song)

        song.refresh_from_db()
        second = Message.objects.exclude(pk=two_things.pk).get()
        assert song.stage == SongStage.WITH_CLIENT
        assert "list.wav" in second.body
        assert "click" not in second.body
        assert [offer["code"] for offer in second.answers] == ["new-file", "leave-out"]

    def test_a_useless_file_is_left_out_by_one_tap(self, song: Song, two_things: Message, client_user: User) -> None:
        services.answer(message=two_things, code="leave-out", value="", by=client_user)
        check(song, "no-click", "no-tempo")

        assert not song.sources.current().filter(name="list.wav").exists()
        assert set(song.findings.open().values_list("code", flat=True)) == {"no-click", "no-tempo"}

    def test_a_promised_file_keeps_the_song_with_the_client_until_one_comes(
        self, song: Song, client_user: User
    ) -> None:
        check(song, "no-music")
        services.answer(message=Message.objects.get(), code="new-file", value="", by=client_user)
        check(song, "no-music")
        song.refresh_from_db()
        assert song.stage == SongStage.WITH_CLIENT

        make_source(song=song, name="new.wav")
        check(song, "no-music")
        song.refresh_from_db()
        assert song.stage == SongStage.ON_DESK


def check(song: Song, *codes: str) -> None:
    make_check(song=song, report=measured_song(*codes))
    jobs.measure(song.pk)


def test_the_song_is_locked_before_its_message(song: Song, drummer: User, monkeypatch: pytest.MonkeyPatch) -> None:
    message = make_message(song=song, state=Message.State.HELD)
    locked = locked_by(monkeypatch)

    services.send_held(message=message, by=drummer)

    assert locked[:2] == [Song, Message]

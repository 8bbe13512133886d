"""Findings open, stay, are resolved or stay waived; a question goes out once; the song stands where it should."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from analysis.core.reports import Finding as Found
from analysis.core.reports import Place, SongReport
from portal.bookings.models import Song
from portal.bookings.services import cancel_booking
from portal.bookings.stages import BookingStage, SongStage
from portal.intake.checks import answering, jobs, questions
from portal.intake.files import services as song_files
from portal.intake.models import Finding, SourceFile
from portal.mailroom.models import Mail, Message, MessageRule, Question
from tests.factories import make_check, make_client, make_drummer, make_finding, make_song, make_source, measured_song

pytestmark = pytest.mark.django_db


@pytest.fixture
def song() -> Song:
    song = make_song(client=make_client(), stage=SongStage.CHECKING)
    make_source(song=song)
    return song


def settle(song: Song, report: SongReport) -> Song:
    """The check of what the song holds gives this report."""
    make_check(song=song, report=report)
    jobs.measure(song.pk)
    song.refresh_from_db()
    return song


def found(code: str, *, file: str | None = None, **value: Any) -> SongReport:
    finding = Found(code=code, severity="ask", file=file, place=Place(time_s=3.0), value=value)
    return measured_song(findings=(finding,))


def states(song: Song) -> list[tuple[str, str]]:
    return list(song.findings.values_list("code", "state"))


class TestFindings:
    def test_a_finding_is_opened_once_however_often_the_check_runs(self, song: Song) -> None:
        for _ in range(3):
            settle(song, measured_song("no-click"))

        assert states(song) == [("no-click", "open")]

    def test_what_is_found_no_longer_is_resolved(self, song: Song) -> None:
        settle(song, measured_song("no-click", "pickup"))
        settle(song, measured_song("no-click"))

        assert states(song) == [("no-click", "open"), ("pickup", "resolved")]

    def test_what_comes_back_is_a_new_finding(self, song: Song) -> None:
        for codes in (["no-click"], [], ["no-click"]):
            settle(song, measured_song(*codes))

        assert states(song) == [("no-click", "resolved"), ("no-click", "open")]

    def test_what_was_waived_stays_waived_while_it_is_the_same(self, song: Song) -> None:
        settle(song, found("tempo-differs", said_bpm=120.0, measured_bpm=112.0004, drift_ms=1.0))
        song.findings.get().end(Finding.State.WAIVED, by=make_drummer(), reason="checked by ear")

        settle(song, found("tempo-differs", said_bpm=120.0, measured_bpm=112.0003, drift_ms=1.0))

        assert states(song) == [("tempo-differs", "waived")]

    def test_what_was_waived_opens_again_when_it_is_another(self, song: Song) -> None:
        settle(song, found("tempo-differs", said_bpm=120.0, measured_bpm=112.0, drift_ms=1.0))
        song.findings.get().end(Finding.State.WAIVED, by=make_drummer(), reason="checked by ear")

        settle(song, found("tempo-differs", said_bpm=96.0, measured_bpm=112.0, drift_ms=1.0))

        assert states(song) == [("tempo-differs", "waived"), ("tempo-differs", "open")]

    def test_two_files_of_one_name_keep_their_own_findings(self, song: Song) -> None:
        make_source(song=song)
        twice = measured_song(findings=tuple(Found(code="clipped", severity="note", file="bass.wav") for _ in range(2)))

        settle(song, twice)

        assert set(song.findings.values_list("source", flat=True)) == set(song.sources.values_list("pk", flat=True))

    def test_a_refused_file_brings_its_own_finding_until_it_is_taken_out(self, song: Song) -> None:
        report = SourceFile.objects.get().report or {}
        finding = Found(code="not-audio", severity="stop", file="list.wav", value={"reason": "is a text file"})
        refused = make_source(
            song=song,
            name="list.wav",
            status=SourceFile.Status.REFUSED,
            report=report | {"findings": [finding.to_json()]},
        )

        settle(song, measured_song())
        assert states(song) == [("not-audio", "open")]

        refused.leave(SourceFile.Left.REMOVED)
        settle(song, measured_song())
        assert states(song) == [("not-audio", "resolved")]


class TestQuestions:
    def test_neither_click_nor_tempo_makes_one_message_with_one_tap_answers(self, song: Song) -> None:
        for _ in range(3):
            settle(song, measured_song("no-click", "no-tempo"))

        message = Message.objects.get()
        assert message.state == Message.State.SENT
        assert [(offer["code"], offer["label"]) for offer in message.questions.get().offers] == [
            ("bpm=112", "112 bpm is right"),
            ("bpm", "It is …"),
            ("make-map", "There is no click: please make the map"),
        ]
        assert Mail.objects.count() == 1
        assert song.stage == SongStage.WITH_CLIENT

    def test_a_tempo_that_was_measured_badly_is_not_put_into_the_client_s_mouth(self, song: Song) -> None:
        settle(song, measured_song("no-click", "no-tempo", bpm=None))

        assert [offer["code"] for offer in Question.objects.get().offers] == ["bpm", "make-map"]

    def test_notes_are_not_asked_about(self, song: Song) -> None:
        settle(song, measured_song("pickup", "tempo-drifts"))

        assert not Message.objects.exists()

    def test_a_later_finding_is_asked_about_without_repeating_the_first(self, song: Song) -> None:
        settle(song, measured_song("no-click", "no-tempo"))
        settle(song, measured_song("no-click", "no-tempo", "no-music"))

        first, second = Message.objects.get().questions.all()
        assert "no music" in second.text
        assert "click" not in second.text
        assert first.state == second.state == Question.State.OPEN
        assert Mail.objects.count() == 1

    def test_a_message_that_became_moot_is_withdrawn(self, song: Song) -> None:
        settle(song, measured_song("no-click", "no-tempo"))
        settle(song, measured_song())

        assert Message.objects.get().state == Message.State.WITHDRAWN
        assert song.stage == SongStage.ON_DESK

    def test_a_message_stays_while_part_of_it_is_open(self, song: Song) -> None:
        settle(song, measured_song("no-click", "no-tempo"))
        settle(song, measured_song("no-click"))

        assert Message.objects.get().state == Message.State.SENT

    def test_what_the_house_holds_waits_beside_what_goes_out(self, song: Song) -> None:
        MessageRule.objects.create(code="no-music", when=MessageRule.When.HOLD)

        settle(song, measured_song("no-click", "no-music"))

        assert {question.state for question in Message.objects.get().questions.all()} == {"open", "held"}
        assert Mail.objects.count() == 1

    def test_only_held_messages_leave_the_song_on_the_desk(self, song: Song) -> None:
        MessageRule.objects.create(code="no-click", when=MessageRule.When.HOLD)

        settle(song, measured_song("no-click"))

        assert Message.objects.get().state == Message.State.HELD
        assert song.stage == SongStage.ON_DESK

    def test_what_the_house_never_sends_is_not_sent(self, song: Song) -> None:
        MessageRule.objects.create(code="no-click", when=MessageRule.When.NEVER)

        settle(song, measured_song("no-click"))

        assert not Message.objects.exists()


class TestManyFiles:
    """Hundreds of files of no use make neither hundreds of questions nor a long transaction."""

    @staticmethod
    def check(files: int) -> tuple[Song, int]:
        """A song of files that cannot be read, and how often the database was asked while its check was stored."""
        song = make_song(client=make_client(), stage=SongStage.CHECKING)
        names = [make_source(song=song, name=f"{number}.wav").name for number in range(files)]
        why = {"reason": "could not be read"}
        found = [Found(code="unreadable", severity="stop", file=name, value=why) for name in names]
        report = measured_song(findings=found)
        make_check(song=song, report=report)
        with CaptureQueriesContext(connection) as asked:
            jobs.measure(song.pk)
        assert song.findings.open().count() == files
        return song, len(asked)

    def test_twenty_are_answered_one_by_one_and_more_of_them_together(self) -> None:
        for files, number in ((20, 20), (21, 1)):
            song, _ = self.check(files)
            asked = Question.objects.filter(message__song=song)
            assert [one.findings.count() for one in asked] == [files // number] * number

    def test_a_question_about_many_names_some_and_counts_the_others(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(questions, "MOST_NAMED", 2)
        song, _ = self.check(23)
        paragraphs = Question.objects.get(message__song=song).text.split("\n\n")
        assert len(paragraphs) == 3
        assert paragraphs[-1] == "The same was found in 21 more files."

    def test_going_on_without_them_is_one_line_and_not_a_question_to_the_database_for_each(self) -> None:
        asked = []
        for files in (25, 60):
            song, _ = self.check(files)
            client_user = song.booking.members.get().user
            question = Question.objects.get(message__song=song)
            answering.save_answer(question=question, code="leave-out", value="", seen=0, by=client_user)
            with CaptureQueriesContext(connection) as queries:
                answering.send_answers(message=question.message, by=client_user)
            assert not song.sources.current().exists()
            assert song.booking.timeline.filter(text=f"removed {files} files").count() == 1
            asked.append(len(queries))
        # Not one for each of 35 more files: the second song brings one more drummer who is told.
        assert asked[1] - asked[0] < 10

    def test_storing_a_check_does_not_ask_the_database_for_each_file(self) -> None:
        (_, of_some), (_, of_more) = self.check(25), self.check(60)
        assert of_more <= of_some


class TestStage:
    def test_a_song_with_nothing_to_ask_is_on_the_desk(self, song: Song) -> None:
        assert settle(song, measured_song()).stage == SongStage.ON_DESK

    def test_a_song_whose_files_are_all_gone_waits_for_files(self, song: Song) -> None:
        song.sources.get().leave(SourceFile.Left.REMOVED)

        settle(song, SongReport())

        assert song.stage == SongStage.WAITING

    @pytest.mark.parametrize("stage", [SongStage.READY, SongStage.TRACKING, SongStage.IN_REVIEW])
    def test_a_song_past_intake_shows_findings_and_stays_where_it_is(self, song: Song, stage: SongStage) -> None:
        song.move_to(stage)

        settle(song, measured_song("no-click"))

        assert song.stage == stage
        assert states(song) == [("no-click", "open")]
        assert not Message.objects.exists()

    def test_each_move_is_one_line_in_the_timeline(self, song: Song) -> None:
        lines_before = song.timeline.count()

        for _ in range(3):
            settle(song, measured_song())

        assert song.timeline.count() == lines_before + 1

    def test_a_finding_of_another_song_is_left_alone(self, song: Song) -> None:
        other = make_finding(song=make_song())

        settle(song, measured_song())

        other.refresh_from_db()
        assert other.state == Finding.State.OPEN


class TestBookingsThatAreOver:
    def test_a_check_that_ends_after_the_cancellation_writes_to_nobody(
        self, song: Song, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        MessageRule.objects.create(code="no-click", when="at-once")

        def cancelled_meanwhile(_: object) -> SongReport:
            cancel_booking(booking=song.booking, by=song.booking.created_by, reason="")
            return measured_song("no-click")

        monkeypatch.setattr(jobs, "measured", cancelled_meanwhile)
        jobs.measure(song.pk)

        song.refresh_from_db()
        assert song.stage == SongStage.CHECKING
        assert not Message.objects.exists()
        assert not song.findings.exists()

    def test_nothing_is_checked_again(self, song: Song) -> None:
        Song.objects.filter(pk=song.pk).update(stage=SongStage.ON_DESK)
        assert song_files.check_again(song.pk)
        Song.objects.filter(pk=song.pk).update(stage=SongStage.ON_DESK)
        cancel_booking(booking=song.booking, by=song.booking.created_by, reason="")

        assert not song_files.check_again(song.pk)

        song.refresh_from_db()
        assert song.stage == SongStage.ON_DESK

    def test_a_file_that_still_comes_moves_nothing(self, song: Song) -> None:
        Song.objects.filter(pk=song.pk).update(stage=SongStage.ON_DESK)
        song.booking.stage = BookingStage.CANCELLED
        song.booking.save()

        song_files.begin_check(Song.objects.get(pk=song.pk))

        song.refresh_from_db()
        assert song.stage == SongStage.ON_DESK

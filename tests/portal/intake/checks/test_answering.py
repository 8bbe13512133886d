"""Answers are saved one by one and sent on together; nothing is answered twice, or after it is moot."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from analysis.core.reports import Finding as Found
from portal.bookings.models import Brief, Song
from portal.bookings.services import cancel_booking
from portal.bookings.stages import SongStage
from portal.intake import tasks
from portal.intake.checks import jobs, services
from portal.intake.checks.answering import SENT_AFTER, release, save_answer, send_answers, send_left
from portal.intake.desk.sheet_page import settled_words
from portal.intake.errors import AnswerError
from portal.intake.models import SourceFile
from portal.mailroom.models import Mail, Message, MessageRule, Question
from portal.people.models import User
from tests.factories import make_check, make_client, make_question, make_source, measured_song
from tests.locks import locked_by
from tests.portal.intake.telling import asking, question_with, save, tell

pytestmark = pytest.mark.django_db
Callbacks = Callable[..., AbstractContextManager[list[Callable[[], object]]]]


def check(song: Song, *codes: str) -> None:
    make_check(song=song, report=measured_song(*codes))
    jobs.measure(song.pk)
    song.refresh_from_db()


@pytest.fixture
def two_things(song: Song) -> Message:
    """A message about a tempo, and about a file that is of no use."""
    finding = Found(code="not-audio", severity="stop", file="list.wav", value={"reason": "is a text file"})
    make_source(
        song=song,
        name="list.wav",
        status=SourceFile.Status.REFUSED,
        report={"name": "list.wav", "sha256": "", "findings": [finding.to_json()]},
    )
    check(song, "no-click", "no-tempo")
    return asking(song)


class TestOneAnswer:
    def test_the_offered_tempo_goes_into_the_brief_and_says_that_there_is_no_click(
        self, song: Song, asked: Message, client_user: User
    ) -> None:
        tell(asked, "bpm=112", by=client_user)

        song.refresh_from_db()
        assert (song.brief.bpm, song.brief.click) == (Decimal(112), Brief.Clicks.MAKE_MAP)
        assert song.stage == SongStage.CHECKING

    @pytest.mark.parametrize(("written", "bpm"), [("98,5", "98.5"), ("112 bpm", "112"), ("87.25", "87.25")])
    def test_a_written_tempo_goes_into_the_brief(
        self, song: Song, asked: Message, client_user: User, written: str, bpm: str
    ) -> None:
        tell(asked, "bpm", value=written, by=client_user)

        song.refresh_from_db()
        assert song.brief.bpm == Decimal(bpm)

    @pytest.mark.parametrize("written", ["0", "-5", "abc", "1e9", ""])
    def test_a_tempo_that_is_none_is_not_saved(self, asked: Message, client_user: User, written: str) -> None:
        with pytest.raises(AnswerError):
            save(asked, "bpm", value=written, by=client_user)

        assert asked.questions.get().state == Question.State.OPEN

    def test_an_answer_that_was_not_on_offer_is_refused(self, asked: Message, client_user: User) -> None:
        with pytest.raises(AnswerError, match="not one of the possible answers"):
            save_answer(question=asked.questions.get(), code="bpm=999", value="", seen=0, by=client_user)

    def test_an_answer_that_settles_nothing_brings_the_song_to_the_desk_and_is_not_asked_again(
        self, song: Song, asked: Message, client_user: User
    ) -> None:
        tell(asked, "make-map", by=client_user)
        check(song, "no-click", "no-tempo")

        assert song.stage == SongStage.ON_DESK
        assert asked.questions.get().state == Question.State.SENT
        assert Message.objects.get().state == Message.State.ANSWERED


class TestDrums:
    """Whether a file holds drums is asked of the client, file by file, and asked once."""

    @pytest.fixture
    def guides(self, song: Song) -> list[SourceFile]:
        return [make_source(song=song, name=name) for name in ("mix.wav", "guitar.wav")]

    def heard(self, song: Song, *files: SourceFile, confidence: float = 0.96, severity: str = "ask") -> None:
        value = {"confidence": confidence}
        findings = tuple(
            Found(code="has-drums", severity=severity, file=file.name, value=value)  # type: ignore[arg-type]
            for file in files
        )
        make_check(song=song, report=measured_song(findings=findings))
        jobs.measure(song.pk)
        song.refresh_from_db()

    def test_each_file_has_its_own_question(self, song: Song, guides: list[SourceFile]) -> None:
        self.heard(song, *guides)

        texts = [question.text for question in asking(song).questions.all()]
        assert texts == [
            f"“{guide.name}” sounds as if drums were already in it (96 % sure). Are there drums in it?"
            for guide in guides
        ]
        assert song.stage == SongStage.WITH_CLIENT

    def test_what_is_not_likely_enough_is_no_question(self, song: Song, guides: list[SourceFile]) -> None:
        self.heard(song, *guides, confidence=0.78, severity="note")

        assert not Message.objects.exists()
        assert song.stage == SongStage.ON_DESK

    @pytest.mark.parametrize(
        ("code", "said"),
        [("drums=guide", "Yes, please keep them as a guide"), ("drums=none", "No, there are no drums")],
    )
    def test_an_answer_settles_it_and_stays(
        self, song: Song, guides: list[SourceFile], client_user: User, code: str, said: str
    ) -> None:
        self.heard(song, guides[0])
        tell(asking(song), code, by=client_user)
        self.heard(song, guides[0], confidence=0.91)  # measured by a later engine

        finding = song.findings.get(code="has-drums")
        assert (finding.state, finding.reason, finding.ended_by) == (finding.State.WAIVED, said, client_user)
        assert settled_words(finding) == f"Answered by {client_user.name}: {said}"
        assert not Question.objects.waiting().exists()
        assert song.stage == SongStage.ON_DESK

    def test_a_promised_version_is_waited_for(self, song: Song, guides: list[SourceFile], client_user: User) -> None:
        self.heard(song, guides[0])
        tell(asking(song), "new-file", by=client_user)
        self.heard(song, guides[0])

        assert song.stage == SongStage.WITH_CLIENT
        assert song.findings.get(code="has-drums").state == "open"


class TestSaving:
    def test_a_saved_answer_changes_nothing_until_it_is_sent(
        self, song: Song, asked: Message, client_user: User
    ) -> None:
        save(asked, "bpm=112", by=client_user)

        song.refresh_from_db()
        assert song.brief.bpm is None
        assert song.stage == SongStage.WITH_CLIENT
        assert asked.questions.get().answer_in_words == "112 bpm is right"

    def test_it_can_be_changed_until_then(self, song: Song, asked: Message, client_user: User) -> None:
        save(asked, "bpm=112", by=client_user)
        save(asked, "bpm", value="98,5", by=client_user)
        send_answers(message=asked, by=client_user)

        song.refresh_from_db()
        assert song.brief.bpm == Decimal("98.5")

    def test_the_same_tap_twice_is_one_answer(self, asked: Message, client_user: User) -> None:
        question = asked.questions.get()
        for _ in range(2):
            save_answer(question=question, code="make-map", value="", seen=0, by=client_user)

        assert asked.questions.get().revision == 1

    def test_of_two_people_the_second_is_told_what_the_first_said(
        self, song: Song, asked: Message, client_user: User
    ) -> None:
        leo = make_client()
        song.booking.members.create(user=leo)
        question = asked.questions.get()  # both pages show it unanswered
        save_answer(question=question, code="bpm=112", value="", seen=0, by=client_user)

        with pytest.raises(AnswerError, match=f"^{client_user.name} answered “112 bpm is right” while"):
            save_answer(question=question, code="make-map", value="", seen=0, by=leo)

        assert asked.questions.get().answered_by == client_user

    def test_whoever_saw_that_answer_may_change_it(self, song: Song, asked: Message, client_user: User) -> None:
        leo = make_client()
        song.booking.members.create(user=leo)
        save(asked, "bpm=112", by=client_user)
        save(asked, "make-map", by=leo)

        assert asked.questions.get().answered_by == leo

    @pytest.mark.parametrize(
        ("state", "words"),
        [
            (Question.State.SENT, "answered “Please make the map”. Nothing was changed"),
            (Question.State.SETTLED, "No answer is needed any more. It is no longer found. Nothing was changed"),
            (Question.State.MOOT, "No answer is needed any more. It is no longer found. Nothing was changed"),
            (Question.State.HELD, "has not been asked yet"),
        ],
    )
    def test_what_is_over_is_not_answered_again(
        self, song: Song, client_user: User, state: Question.State, words: str
    ) -> None:
        answer = {"code": "make-map", "label": "Please make the map", "value": "", "unit": ""}
        is_sent = state == Question.State.SENT
        over = {"answer": answer, "answered_by": client_user} if is_sent else {"reason": "It is no longer found."}
        question = make_question(song=song, state=state, **over)

        with pytest.raises(AnswerError, match=words):
            save_answer(question=question, code="bpm", value="112", seen=0, by=client_user)

        question.refresh_from_db()
        assert question.state == state

    def test_a_booking_that_is_over_takes_no_answer(self, song: Song, asked: Message, client_user: User) -> None:
        question = asked.questions.get()
        cancel_booking(booking=song.booking, by=song.booking.created_by, reason="")

        question.refresh_from_db()
        assert (question.state, question.reason) == (Question.State.MOOT, "The booking was cancelled.")
        with pytest.raises(AnswerError, match="This booking is cancelled"):
            save_answer(question=question, code="make-map", value="", seen=0, by=client_user)


class TestSending:
    def test_all_saved_answers_count_together_with_one_change_and_one_check(
        self,
        song: Song,
        two_things: Message,
        client_user: User,
        monkeypatch: pytest.MonkeyPatch,
        django_capture_on_commit_callbacks: Callbacks,
    ) -> None:
        checked: list[int] = []
        monkeypatch.setattr(tasks.measure_song, "delay", checked.append)
        save(two_things, "bpm=112", by=client_user)
        save(two_things, "leave-out", by=client_user)
        lines = song.timeline.count()

        with django_capture_on_commit_callbacks(execute=True):
            assert send_answers(message=two_things, by=client_user) == 2

        song.refresh_from_db()
        assert checked == [song.pk]
        assert song.brief.bpm == Decimal(112)
        assert not song.sources.current().filter(name="list.wav").exists()
        assert list(song.timeline.values_list("text", flat=True))[lines:] == [
            "answered “Go on without it”",
            "answered “112 bpm is right”",
            "removed “list.wav”",
            "wrote the brief",
            "the files are being checked",
        ]

    def test_sent_twice_it_is_done_once(self, song: Song, asked: Message, client_user: User) -> None:
        save(asked, "make-map", by=client_user)

        assert [send_answers(message=asked, by=client_user) for _ in range(2)] == [1, 0]

    def test_what_was_not_answered_stays_open(self, song: Song, two_things: Message, client_user: User) -> None:
        tell(two_things, "bpm=112", by=client_user)
        check(song)

        two_things.refresh_from_db()
        assert [question.state for question in two_things.questions.waiting()] == [Question.State.OPEN]
        assert two_things.state == Message.State.SENT
        assert "list.wav" in two_things.body
        assert song.stage == SongStage.WITH_CLIENT
        assert Mail.objects.filter(to=client_user.email).count() == 1

    def test_a_quiet_minute_sends_what_was_saved(self, song: Song, asked: Message, client_user: User) -> None:
        save(asked, "bpm=112", by=client_user)
        send_left(asked.pk)
        assert asked.questions.get().state == Question.State.SAVED

        Question.objects.update(answered_at=timezone.now() - SENT_AFTER)
        for _ in range(2):
            jobs.sweep()

        song.refresh_from_db()
        assert asked.questions.get().state == Question.State.SENT
        assert song.brief.bpm == Decimal(112)

    def test_an_answer_given_meanwhile_begins_the_minute_anew(self, two_things: Message, client_user: User) -> None:
        save(two_things, "leave-out", by=client_user)
        Question.objects.filter(state="saved").update(answered_at=timezone.now() - SENT_AFTER)
        save(two_things, "bpm=112", by=client_user)

        jobs.sweep()

        assert two_things.questions.filter(state=Question.State.SAVED).count() == 2

    def test_a_promised_file_keeps_the_song_with_the_client_until_one_comes(
        self, song: Song, client_user: User
    ) -> None:
        check(song, "no-music")
        tell(asking(song), "new-file", by=client_user)
        check(song, "no-music")
        assert song.stage == SongStage.WITH_CLIENT

        make_source(song=song, name="new.wav")
        check(song, "no-music")
        assert song.stage == SongStage.ON_DESK

    def test_without_originals_the_song_goes_to_the_desk_with_the_answer(
        self, song: Song, asked: Message, client_user: User
    ) -> None:
        song.sources.update(gone_at=timezone.now())

        tell(asked, "make-map", by=client_user)

        song.refresh_from_db()
        assert song.stage == SongStage.ON_DESK


class TestANewCheck:
    def test_it_adds_questions_and_keeps_drafts(self, song: Song, asked: Message, client_user: User) -> None:
        save(asked, "bpm=112", by=client_user)
        check(song, "no-click", "no-tempo", "no-music")

        assert [(one.about, one.state) for one in asked.questions.all()] == [
            ("Tempo and click", "saved"),
            ("No music", "open"),
        ]
        assert Mail.objects.count() == 1

    def test_it_settles_what_is_found_no_longer_and_says_so(self, song: Song, two_things: Message) -> None:
        SourceFile.objects.get(name="list.wav").leave(SourceFile.Left.REMOVED)
        check(song, "no-click", "no-tempo")

        settled = two_things.questions.get(state=Question.State.SETTLED)
        assert settled.reason == "It is no longer found."

    def test_the_same_with_other_figures_is_not_asked_again(self, song: Song, client_user: User) -> None:
        def measured(bpm: float) -> None:
            value = {"said_bpm": 120.0, "measured_bpm": bpm, "drift_ms": 30.0}
            finding = Found(code="tempo-differs", severity="ask", value=value)
            make_check(song=song, report=measured_song(findings=(finding,)))
            jobs.measure(song.pk)

        measured(112.0)
        tell(asking(song), "bpm=120", by=client_user)
        measured(111.2)

        assert Question.objects.get().state == Question.State.SENT
        song.refresh_from_db()
        assert song.stage == SongStage.ON_DESK

    def test_an_open_question_takes_the_new_figures(self, song: Song) -> None:
        for bpm in (112.0, 98.0):
            value = {"said_bpm": 120.0, "measured_bpm": bpm, "drift_ms": 30.0}
            finding = Found(code="tempo-differs", severity="ask", value=value)
            make_check(song=song, report=measured_song(findings=(finding,)))
            jobs.measure(song.pk)

        question = Question.objects.get()
        assert "98" in question.text
        assert "bpm=98" in [offer["code"] for offer in question.offers]

    def test_one_fault_in_several_files_is_one_question(self, song: Song) -> None:
        make_source(song=song, name="keys.wav")
        faults = [
            Found(code="clipped", severity="stop", file=name, value={"places": 3}) for name in ("bass.wav", "keys.wav")
        ]
        make_check(song=song, report=measured_song(findings=tuple(faults)))
        jobs.measure(song.pk)

        question = Question.objects.get()
        assert "bass.wav" in question.text
        assert "keys.wav" in question.text


class TestHeld:
    @pytest.fixture
    def held(self, song: Song) -> Message:
        """The tempo is asked at once; what is wrong with a file waits for the drummer."""
        MessageRule.objects.create(code="no-music", when=MessageRule.When.HOLD)
        check(song, "no-click", "no-music")
        return asking(song)

    def test_it_is_in_the_one_message_and_goes_out_with_the_drummer(
        self, song: Song, held: Message, client_user: User, drummer: User
    ) -> None:
        assert "no music" not in Mail.objects.get().body
        assert Question.objects.visible_to(client_user).count() == 1

        assert [release(message=held, by=drummer) for _ in range(2)] == [True, False]

        assert Question.objects.visible_to(client_user).count() == 2
        held.refresh_from_db()
        assert held.mailed_at is not None
        assert held.changed_at is not None
        assert held.changed_at > held.mailed_at  # told by the digest, if nobody looks
        assert Mail.objects.count() == 1

    def test_a_message_of_held_questions_alone_begins_when_they_are_released(
        self, song: Song, client_user: User, drummer: User
    ) -> None:
        MessageRule.objects.create(code="no-click", when=MessageRule.When.HOLD)
        check(song, "no-click")
        assert not Message.objects.visible_to(client_user).exists()
        assert song.stage == SongStage.ON_DESK

        for _ in range(2):
            release(message=asking(song), by=drummer)

        song.refresh_from_db()
        assert song.stage == SongStage.WITH_CLIENT
        assert song.timeline.filter(text__startswith="sent “").count() == 1
        assert Mail.objects.filter(to=client_user.email).count() == 1


def test_the_drummer_gets_one_e_mail_for_the_answers_that_were_sent_together(
    two_things: Message, client_user: User, drummer: User
) -> None:
    tell(two_things, "bpm=112", by=client_user)
    send_answers(message=two_things, by=client_user)
    mail = Mail.objects.get(to=drummer.email, subject__contains="has answered")
    assert mail.subject == f"{client_user.name} has answered about “{two_things.song}”"
    assert two_things.questions.get(state=Question.State.SENT).answer_in_words in mail.body
    assert f"/songs/{two_things.song_id}/sheet/" in mail.body


def test_answers_that_the_drummer_gives_are_told_nobody(asked: Message, drummer: User) -> None:
    tell(asked, "bpm=112", by=drummer)
    assert not Mail.objects.filter(subject__contains="has answered").exists()


def test_what_the_drummer_settles_says_who(song: Song, asked: Message, drummer: User) -> None:
    for finding in song.findings.open():
        services.waive(finding=finding, by=drummer, reason="known")

    question = asked.questions.get()
    assert (question.state, question.reason) == (Question.State.SETTLED, f"{drummer.name} has settled it.")


@pytest.mark.parametrize("act", ["save", "send", "release"])
def test_the_song_is_locked_before_its_message_and_its_questions(
    song: Song, drummer: User, monkeypatch: pytest.MonkeyPatch, act: str
) -> None:
    question = make_question(song=song, state=Question.State.HELD if act == "release" else Question.State.OPEN)
    if act == "send":
        save(question.message, "make-map", by=drummer)
    locked = locked_by(monkeypatch)

    if act == "save":
        save_answer(question=question, code="make-map", value="", seen=0, by=drummer)
    elif act == "send":
        send_answers(message=question.message, by=drummer)
    else:
        release(message=question.message, by=drummer)

    assert locked[:3] == [Song, Message, Question]


def test_a_question_left_for_days_is_still_one(song: Song, asked: Message) -> None:
    Question.objects.update(asked_at=timezone.now() - timedelta(days=9))
    check(song, "no-click", "no-tempo")

    assert question_with(asked, "make-map").state == Question.State.OPEN
    assert Question.objects.count() == 1

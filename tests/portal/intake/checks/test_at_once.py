"""Two people of one booking press at the same moment: real threads, each with its own connection."""

from __future__ import annotations

import threading
from collections.abc import Callable

import pytest
from django.db import connection

from portal.bookings.models import Song
from portal.bookings.services import move_song
from portal.bookings.stages import SongStage
from portal.intake import tasks
from portal.intake.checks.answering import save_answer, send_answers
from portal.intake.errors import AnswerError
from portal.intake.files.announcing import say_all_sent
from portal.intake.files.waiting import note_change
from portal.intake.models import SongCheck
from portal.mailroom.models import Mail, Message, Question
from portal.people.models import House, User
from tests.factories import make_check, make_client, make_drummer, make_question, make_song, make_source, measured_song

pytestmark = pytest.mark.django_db(transaction=True)
CODES = ("make-map", "bpm")
ROUNDS = 4


@pytest.fixture
def two() -> tuple[User, User]:
    return make_client(name="Mara Quillfen"), make_client(name="Leo Sandquell")


@pytest.fixture
def shared_song(two: tuple[User, User]) -> Song:
    song = make_song(client=two[0], stage="with-client")
    song.booking.members.create(user=two[1])
    return song


def at_once(*acts: Callable[[], object]) -> list[object]:
    """What each of them gives back, or the error that it ends with."""
    start = threading.Barrier(len(acts))
    results: list[object] = [None] * len(acts)

    def run(place: int, act: Callable[[], object]) -> None:
        start.wait()
        try:
            results[place] = act()
        except Exception as error:  # noqa: BLE001 - it is the result
            results[place] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=pair) for pair in enumerate(acts)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return results


def test_of_two_answers_one_counts_and_the_other_person_is_told(two: tuple[User, User], shared_song: Song) -> None:
    for number in range(ROUNDS):
        question = make_question(song=shared_song, topic=f"topic {number}")

        def answer(place: int, question: Question = question) -> Question:
            value = "112" if CODES[place] == "bpm" else ""
            return save_answer(question=question, code=CODES[place], value=value, seen=0, by=two[place])

        results = at_once(lambda: answer(0), lambda: answer(1))

        question.refresh_from_db()
        [refused] = [one for one in results if isinstance(one, Exception)]
        assert isinstance(refused, AnswerError)
        assert question.revision == 1
        winner = [user.pk for user in two].index(question.answered_by_id or 0)
        assert isinstance(results[winner], Question)
        assert question.answer is not None
        assert question.answer["code"] == CODES[winner]
        assert str(refused).startswith(f"{two[winner].name} answered “{question.answer_in_words}” while this page")


def test_of_two_who_send_the_answers_on_one_does(two: tuple[User, User], shared_song: Song) -> None:
    question = make_question(song=shared_song)
    save_answer(question=question, code="make-map", value="", seen=0, by=two[0])
    message = Message.objects.get()

    sent = at_once(*(lambda by=by: send_answers(message=message, by=by) for by in two))

    assert sorted(map(str, sent)) == ["0", "1"]
    assert shared_song.timeline.filter(text__startswith="answered").count() == 1


def test_two_who_say_that_is_all_start_one_check_and_one_message(
    two: tuple[User, User], shared_song: Song, monkeypatch: pytest.MonkeyPatch
) -> None:
    House.objects.update_or_create(pk=1, defaults={"quiet_after_files_s": 3_600})
    make_source(song=shared_song)
    move_song(shared_song, SongStage.CHECKING, text="the files are being checked", has_files=True)
    note_change(shared_song)
    make_check(song=shared_song, report=measured_song("no-click", "no-tempo"))
    monkeypatch.setattr(tasks.send_answers, "apply_async", lambda *_, **__: None)

    said = at_once(*(lambda by=by: say_all_sent(song=shared_song, by=by) for by in two))

    assert said == [(), ()]
    assert shared_song.timeline.filter(text="said that all files are sent").count() == 1
    assert SongCheck.objects.count() == Message.objects.count() == 1
    assert Question.objects.filter(state=Question.State.OPEN).count() == 1
    assert sorted(Mail.objects.values_list("to", flat=True)) == sorted(user.email for user in two)


def test_a_drummer_and_a_client_who_answer_at_once_are_told_alike(two: tuple[User, User], shared_song: Song) -> None:
    question, jo = make_question(song=shared_song), make_drummer(name="Jo Quillfen")

    def answer(by: User, code: str) -> Question:
        return save_answer(question=question, code=code, value="98" if code == "bpm" else "", seen=0, by=by)

    results = at_once(lambda: answer(two[0], "make-map"), lambda: answer(jo, "bpm"))

    assert sum(isinstance(one, AnswerError) for one in results) == 1
    question.refresh_from_db()
    assert question.revision == 1

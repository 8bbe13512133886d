"""What answers do: saved one by one, they count together when they are sent. The brief changes once, one check starts.

The song is locked before its message and its questions: a check that settles meanwhile locks in this order too.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import timedelta
from typing import Any

from django.db import transaction
from django.db.models import Max
from django.urls import reverse
from django.utils import timezone

from portal.bookings.models import Brief, Song
from portal.bookings.services import save_brief
from portal.bookings.stages import INTAKE_STAGES, SongStage
from portal.intake.checks import apply_check, questions
from portal.intake.checks.offers import LEAVE_OUT, SETTLING_ANSWERS, brief_changes
from portal.intake.checks.song_facts import note_facts
from portal.intake.errors import AnswerError
from portal.intake.files.services import check_again, take_out
from portal.intake.models import Finding
from portal.mailroom import asking as mailroom
from portal.mailroom.errors import MailroomError
from portal.mailroom.models import Message, Question
from portal.mailroom.services import write_to_drummers
from portal.people.models import User
from portal.queueing import queue_task_on_commit

# Answers that nobody sent on are sent when none was added or changed for so long.
SENT_AFTER = timedelta(minutes=1)
JUST_AFTER_S = 1


def save_answer(*, question: Question, code: str, value: str, seen: int, by: User) -> Question:
    """Keep one answer. Where it cannot be taken, the sentence says what holds instead, and nothing changes."""
    try:
        return _save_answer(question, code=code, value=value, seen=seen, by=by)
    except MailroomError as error:
        raise AnswerError(str(error)) from error


@transaction.atomic
def _save_answer(question: Question, *, code: str, value: str, seen: int, by: User) -> Question:
    song = _lock(question.message)
    if song.booking.is_over:
        raise AnswerError(f"This booking is {song.booking.get_stage_display()}. Nothing was changed.")
    question = mailroom.save_answer(question, code=code, value=value, seen=seen, by=by)
    _changes_of(question, _findings_of(question))  # what cannot be written into the brief is refused here
    mailroom.mark_seen(user=by, booking_id=song.booking_id, song_id=song.pk)
    after_s = int(SENT_AFTER.total_seconds()) + JUST_AFTER_S
    queue_task_on_commit("portal.intake.tasks.send_answers", question.message_id, after_s=after_s)
    return question


def _lock(message: Message) -> Song:
    song = Song.objects.select_for_update().select_related("booking").get(messages=message)
    Message.objects.select_for_update().get(pk=message.pk)
    return song


def _findings_of(question: Question) -> list[Finding]:
    return list(question.findings.open().with_source())


def _changes_of(question: Question, findings: Iterable[Finding]) -> dict[str, Any]:
    answer = question.answer or {}
    return brief_changes(answer["code"], answer["value"], findings)


@transaction.atomic
def send_answers(*, message: Message, by: User) -> int:
    """All saved answers count: the brief changes once, and one check is started. Pressed twice, it is done once."""
    song = _lock(message)
    sent = mailroom.send_saved(message)
    if sent:
        questions.follow_answers(song, message)
        if not song.booking.is_over:
            _act_on(song, sent, by=by)
        note_facts(song)
        if not by.is_drummer:
            _tell_drummers(song, sent, by=by)
    return len(sent)


def _tell_drummers(song: Song, sent: Sequence[Question], *, by: User) -> None:
    """One e-mail for all answers that were sent together. A question is sent once, so the first one names them."""
    answers = "\n".join(f"{question.about}: {question.answer_in_words}" for question in sent)
    write_to_drummers(
        key=f"answers:{min(question.pk for question in sent)}",
        subject=f"{by.name} has answered about “{song.title}”",
        body=f"{by.name} has answered about the files of “{song.title}”:\n\n{answers}",
        path=reverse("intake:sheet", args=[song.pk]),
    )


def _act_on(song: Song, sent: Iterable[Question], *, by: User) -> None:
    """Past intake the answers are only read: nothing is changed under the drummer's hands."""
    if song.stage not in INTAKE_STAGES:
        return
    changes: dict[str, Any] = {}
    for question in sent:
        findings = _findings_of(question)
        changes |= _changes_of(question, findings)
        _act_on_files(question, findings, by=by)
    if not _changes_brief(song, changes, by=by):
        check_again(song.pk)
    song.refresh_from_db(fields=["stage"])
    if song.stage == SongStage.WITH_CLIENT:  # no check was started: there is nothing to measure any more
        apply_check.place(song, text="the answers are here")


def _act_on_files(question: Question, findings: Iterable[Finding], *, by: User) -> None:
    """A file is left out, or what was asked about it is known now and stays settled."""
    answer = question.answer or {"code": ""}
    if answer["code"] == LEAVE_OUT:
        take_out([finding.source for finding in findings if finding.source is not None], by=by)
    if answer["code"] in SETTLING_ANSWERS:
        for finding in findings:
            finding.end(Finding.State.WAIVED, by=question.answered_by, reason=answer["label"])


def _changes_brief(song: Song, changes: dict[str, Any], *, by: User) -> bool:
    """Whether the brief says something new: that starts the check."""
    before = Brief.objects.get(song=song).updated_at
    return bool(changes) and save_brief(song=song, by=by, **changes).updated_at != before


def send_left(message_id: int) -> None:
    """Send what was saved and left for a quiet minute. Safe to run twice, and too early."""
    message = Message.objects.filter(pk=message_id).first()
    if message is None:
        return
    saved = message.questions.filter(state=Question.State.SAVED)
    last_at = saved.aggregate(last=Max("answered_at"))["last"]
    last = saved.select_related("answered_by").order_by("answered_at").last()
    if last is None or last.answered_by is None or last_at > timezone.now() - SENT_AFTER:
        return
    send_answers(message=message, by=last.answered_by)


def left_answers() -> list[int]:
    """Messages whose saved answers nobody sent on."""
    saved = Question.objects.filter(state=Question.State.SAVED)
    last_saved = saved.values("message").annotate(last=Max("answered_at"))
    left = last_saved.filter(last__lte=timezone.now() - SENT_AFTER)
    return list(left.values_list("message", flat=True))


@transaction.atomic
def release(*, message: Message, by: User) -> bool:
    """The drummer lets go what is held back; the song goes with it."""
    song = _lock(message)
    if song.booking.is_over or not questions.release(song, message, by=by):
        return False
    apply_check.place_asked(song)
    note_facts(song)
    return True


def close_cancelled(booking_id: int, by_id: int, reason: str) -> None:  # noqa: ARG001 - as the hook calls it
    """What `bookings.hooks.on_booking_cancelled` calls: a booking that is over asks nothing of anybody."""
    for song in Song.objects.select_for_update().select_related("booking").filter(booking=booking_id):
        questions.close_all(song, reason=questions.CANCELLED)
        note_facts(song)

"""Answers to a song's message, saved and sent on as a person does."""

from __future__ import annotations

from portal.bookings.models import Song
from portal.intake.checks.answering import save_answer, send_answers
from portal.mailroom.models import Message, Question
from portal.people.models import User


def asking(song: Song) -> Message:
    return Message.objects.get(key=f"check:{song.pk}")


def question_with(message: Message, code: str) -> Question:
    """The one that offers this answer."""
    questions = message.questions.waiting()
    return next(one for one in questions if code in [offer["code"] for offer in one.offers])


def save(message: Message, code: str, *, by: User, value: str = "") -> Question:
    question = question_with(message, code)
    return save_answer(question=question, code=code, value=value, seen=question.revision, by=by)


def tell(message: Message, code: str, *, by: User, value: str = "") -> None:
    save(message, code, by=by, value=value)
    send_answers(message=message, by=by)

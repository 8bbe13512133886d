"""The one message that asks about a song: its questions are asked, answered, sent on and closed here.

Whoever changes a question locks its song, then its message, then the question: two answers at once wait for each other,
and the second is told what the first one said.
"""

from __future__ import annotations

from collections.abc import Sequence

from django.db import transaction
from django.utils import timezone

from portal.bookings.models import Song
from portal.bookings.services import record
from portal.mailroom.emails import mail_out, one_line
from portal.mailroom.errors import AnsweredOtherwiseError, NoSuchAnswerError, NotWaitingError
from portal.mailroom.models import Message, MessageSeen, Question
from portal.people.models import User

MESSAGE_SUBJECT_LENGTH = 160
VALUE_LENGTH = 100


def message_for(song: Song, *, key: str) -> Message:
    """The song's own, made when it is needed for the first time."""
    fields = {"booking": song.booking, "song": song, "state": Message.State.HELD}
    message, _ = Message.objects.get_or_create(key=key, defaults=fields)
    return message


def add_question(
    message: Message, *, topic: str, about: str, text: str, offers: list[dict[str, str]], held: bool
) -> Question:
    state, asked_at = (Question.State.HELD, None) if held else (Question.State.OPEN, timezone.now())
    fields = {"topic": topic, "about": about, "text": text, "offers": offers}
    return Question.objects.create(message=message, state=state, asked_at=asked_at, **fields)


def follow(message: Message, *, subject: str, intro: str, is_more: bool = False, actor: User | None = None) -> None:
    """After its questions changed: the message stands where they are, and says what is open. The first time it goes
    out it is mailed; later on what is new (`is_more`) waits for the digest."""
    waiting = list(message.questions.waiting())
    was_begun = message.is_asking
    if waiting:
        message.say(subject=one_line(subject)[:MESSAGE_SUBJECT_LENGTH], body=_body(intro, waiting))
    message.be(_state_of(message, is_waiting=bool(waiting)))
    if waiting and not was_begun:
        message.begin()
        text = f"sent “{message.subject}”" if actor else f"“{message.subject}” was sent"
        record(message.booking, text, actor=actor, song=message.song)
        mail_out(message)
    elif waiting and is_more:
        message.change()
        record(message.booking, f"asked more: “{message.subject}”", actor=actor, song=message.song)


def _body(intro: str, waiting: Sequence[Question]) -> str:
    texts = [question.text for question in waiting]
    if len(texts) > 1:
        texts = [f"{number}. {text}" for number, text in enumerate(texts, start=1)]
    return "\n\n".join([intro, *texts])


def _state_of(message: Message, *, is_waiting: bool) -> Message.State:
    if is_waiting:
        return Message.State.SENT
    if not message.is_asking:
        return Message.State.HELD
    is_answered = message.questions.filter(state=Question.State.SENT).exists()
    return Message.State.ANSWERED if is_answered else Message.State.WITHDRAWN


def save_answer(question: Question, *, code: str, value: str, seen: int, by: User) -> Question:
    """Keep an answer, which can be changed until it is sent. `seen` is the revision that the page showed: nobody
    answers over what somebody else has just said."""
    question = Question.objects.select_for_update(of=("self",)).select_related("answered_by").get(pk=question.pk)
    given = _answer_of(question, code, value)
    if question.state == Question.State.SAVED and question.answer == given:
        return question
    if not question.is_waiting:
        raise NotWaitingError(_why_not(question))
    if question.revision != seen:
        raise AnsweredOtherwiseError(f"{_who_said(question)} while this page was open. Change it if it is wrong.")
    question.save_answer(given, by=by)
    return question


def _why_not(question: Question) -> str:
    if question.state == Question.State.SENT:
        return f"{_who_said(question)}. Nothing was changed."
    if question.state == Question.State.HELD:
        return "This question has not been asked yet."
    return f"No answer is needed any more. {question.reason} Nothing was changed."


def _who_said(question: Question) -> str:
    who = question.answered_by.name if question.answered_by else "Somebody"
    return f"{who} answered “{question.answer_in_words}”"


def _answer_of(question: Question, code: str, value: str) -> dict[str, str]:
    if not question.is_waiting:  # whatever was pressed: it is too late
        return {}
    offer = next((offer for offer in question.offers if offer["code"] == code), None)
    if offer is None:
        raise NoSuchAnswerError("This is not one of the possible answers. Press one of the buttons.")
    value = one_line(value)[:VALUE_LENGTH] if offer.get("asks") else ""
    if offer.get("asks") and not value:
        raise NoSuchAnswerError("Enter a number, then press the button beside it.")
    return {"code": code, "label": offer["label"], "value": value, "unit": offer.get("asks", "")}


def send_saved(message: Message) -> list[Question]:
    """The saved answers count from now on."""
    saved = list(
        message.questions.select_for_update(of=("self",))
        .filter(state=Question.State.SAVED)
        .select_related("answered_by")
    )
    for question in saved:
        question.send()
        text = f"answered “{question.answer_in_words}”"
        record(message.booking, text, actor=question.answered_by, song=message.song)
    return saved


@transaction.atomic
def mark_seen(*, user: User, booking_id: int, song_id: int | None = None) -> None:
    """A client has looked at what is asked of them: of one song, or of a whole booking."""
    if user.is_drummer:
        return
    asking = Message.objects.visible_to(user).filter(booking=booking_id, changed_at__isnull=False)
    for message in asking.filter(song=song_id) if song_id else asking:
        MessageSeen.objects.update_or_create(message=message, user=user, defaults={"at": timezone.now()})


def note_opened(booking_id: int, song_id: int | None, user_id: int) -> None:
    """What `bookings.hooks.on_page_opened` calls."""
    mark_seen(user=User.objects.get(pk=user_id), booking_id=booking_id, song_id=song_id)

"""Answers on the page: saved in their place, sent on together, and told when they come too late."""

from __future__ import annotations

import re

import pytest
from django.test import Client
from django.urls import reverse

from portal.bookings.models import Song
from portal.bookings.stages import BookingStage
from portal.mailroom.models import Message, Question
from portal.people.models import User
from tests.factories import make_client, make_drummer, make_question, make_song
from tests.portal.intake.telling import save
from tests.portal.pages import flat

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


@pytest.fixture
def mara() -> User:
    return make_client(name="Mara Quillfen")


@pytest.fixture
def song(mara: User) -> Song:
    return make_song(client=mara)


@pytest.fixture
def question(song: Song) -> Question:
    return make_question(song=song)


def answer(client: Client, question: Question, code: str = "make-map", **more: object) -> object:
    data = {"code": code, "seen": question.revision} | more
    return client.post(reverse("intake:answer", args=[question.pk]), data, follow=True)


def test_one_tap_is_saved_and_leads_back_to_the_song(
    client: Client, mara: User, song: Song, question: Question
) -> None:
    client.force_login(mara)

    response = client.post(reverse("intake:answer", args=[question.pk]), {"code": "make-map", "seen": 0}, follow=True)

    question.refresh_from_db()
    assert response.redirect_chain == [(f"{song.get_absolute_url()}#messages", 302)]
    assert question.state == Question.State.SAVED
    page = flat(response.content.decode())
    assert "saved by Mara Quillfen, not sent yet" in page
    assert "Send my answers" in page
    assert re.search(r'aria-pressed="true">\s*Please make the map', page)


def test_with_htmx_the_questions_are_answered_in_their_place(client: Client, mara: User, question: Question) -> None:
    client.force_login(mara)

    response = client.post(reverse("intake:answer", args=[question.pk]), {"code": "make-map", "seen": 0}, headers=HTMX)

    page = response.content.decode()
    assert page.strip().startswith(f'<div class="questions" id="questions-{question.message_id}">')
    assert "1 of 1 answered" in flat(page)


@pytest.mark.parametrize(
    "data",
    [{}, {"code": "bpm", "value": "abc"}, {"code": "other"}, {"code": "x" * 50}, {"code": "make-map", "seen": -1}],
)
@pytest.mark.parametrize("headers", [{}, HTMX])
def test_what_cannot_be_taken_is_told(
    client: Client, mara: User, question: Question, data: dict[str, object], headers: dict[str, str]
) -> None:
    client.force_login(mara)

    page = client.post(
        reverse("intake:answer", args=[question.pk]), {"seen": 0} | data, headers=headers, follow=True
    ).content.decode()

    question.refresh_from_db()
    assert question.state == Question.State.OPEN
    assert 'role="alert"' in page or "<b>Error:</b>" in flat(page)


def test_the_second_of_two_people_reads_what_the_first_said(
    client: Client, mara: User, song: Song, question: Question
) -> None:
    leo = make_client(name="Leo Tarn")
    song.booking.members.create(user=leo)
    save(question.message, "make-map", by=mara)
    client.force_login(leo)

    page = client.post(
        reverse("intake:answer", args=[question.pk]), {"code": "bpm", "value": "112", "seen": 0}, headers=HTMX
    ).content.decode()

    assert "Mara Quillfen answered “Please make the map” while this page was open." in flat(page)


def test_sending_leads_back_to_the_song_and_twice_sends_nothing_more(
    client: Client, mara: User, song: Song, question: Question
) -> None:
    save(question.message, "make-map", by=mara)
    client.force_login(mara)
    address = reverse("intake:send-answers", args=[question.message_id])

    first, second = (client.post(address, follow=True).content.decode() for _ in range(2))

    assert "Thank you: your answers are sent." in first
    assert "There was nothing more to send" in second
    assert Message.objects.get().state == Message.State.ANSWERED


def test_an_old_link_shows_how_it_was_settled(client: Client, mara: User, song: Song) -> None:
    question = make_question(song=song, state=Question.State.SETTLED, reason="It is no longer found.")
    client.force_login(mara)

    page = flat(client.get(reverse("mailroom:message", args=[question.message_id])).content.decode())

    assert "It is no longer found. No answer is needed." in page
    assert reverse("intake:answer", args=[question.pk]) not in page


def test_a_held_question_is_the_drummer_s_alone(client: Client, mara: User, song: Song, question: Question) -> None:
    held = make_question(song=song, state=Question.State.HELD, text="Is the bass late?")
    client.force_login(mara)
    assert client.post(reverse("intake:answer", args=[held.pk]), {"code": "make-map", "seen": 0}).status_code == 404
    assert "Is the bass late?" not in client.get(song.get_absolute_url()).content.decode()

    client.force_login(song.booking.created_by)
    page = flat(client.get(song.get_absolute_url()).content.decode())
    assert "Is the bass late?" in page
    assert "Send what is held to the client" in page


def test_a_drummer_may_answer_for_the_client(client: Client, question: Question) -> None:
    client.force_login(make_drummer())

    answer(client, question)

    question.refresh_from_db()
    assert question.state == Question.State.SAVED


def test_outsiders_find_nothing(client: Client, question: Question) -> None:
    client.force_login(make_client())
    for address in (
        reverse("intake:answer", args=[question.pk]),
        reverse("intake:send-answers", args=[question.message_id]),
        reverse("intake:send-held", args=[question.message_id]),
    ):
        assert client.post(address).status_code == 404
        assert client.get(address).status_code == 405


@pytest.mark.parametrize(
    ("state", "is_over", "words"),
    [
        (Question.State.OPEN, False, "Here is what is still open: please answer it here."),
        (Question.State.SENT, False, "It was answered already."),
        (Question.State.MOOT, False, "No answer is needed here any more."),
        (Question.State.OPEN, True, "This booking is cancelled: no answer is needed any more."),
    ],
)
@pytest.mark.parametrize("method", ["get", "post"])
def test_an_answer_from_an_old_page_is_told_what_became_of_the_question(
    client: Client, mara: User, song: Song, state: Question.State, is_over: bool, words: str, method: str
) -> None:
    answer = {"code": "make-map", "label": "Please make the map"} if state == Question.State.SENT else None
    question = make_question(song=song, state=state, answer=answer, answered_by=mara if answer else None)
    if state in (Question.State.SENT, Question.State.MOOT):
        question.message.be(Message.State.ANSWERED if answer else Message.State.WITHDRAWN)
    if is_over:
        song.booking.move_to(BookingStage.CANCELLED)
    client.force_login(mara)

    old = f"/messages/{question.message_id}/answer/"
    response = getattr(client, method)(old, {"answer": "make-map"}, follow=True)

    page = flat(response.content.decode())
    assert f"Nothing was saved: the page you answered on is out of date. {words}" in page
    assert song.get_absolute_url() in page
    question.refresh_from_db()
    assert (question.state, question.answer) == (state, answer)

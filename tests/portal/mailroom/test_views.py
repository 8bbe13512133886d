import re
import uuid
from datetime import UTC, datetime
from http import HTTPStatus

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries, Settings

from analysis.findings.catalogue import FINDING_KINDS
from portal.bookings.models import Booking
from portal.mailroom import services
from portal.mailroom.models import Mail, Message, MessageRule, Question
from portal.mailroom.threads_page import THREADS_PER_PAGE
from portal.people.models import House, User
from tests.factories import (
    make_booking,
    make_client,
    make_drummer,
    make_invited_client,
    make_mail,
    make_message,
    make_question,
)

pytestmark = pytest.mark.django_db

ANSWERS = [{"code": "make-map", "label": "Please make the map"}, {"code": "it-is", "label": "It is", "asks": "bpm"}]


@pytest.fixture
def mara() -> User:
    return make_client(name="Mara")


@pytest.fixture
def booking(mara: User) -> Booking:
    return make_booking(client=mara, songs=1, title="Cold Bus Under Spoons")


def test_the_outbox_shows_each_letter_with_its_state_and_words(client: Client) -> None:
    make_mail(subject="A quote", body="See http://testserver/bookings/1/ please")
    make_mail(subject="Gone wrong", state=Mail.State.FAILED, last_trouble="550 No such mailbox")
    client.force_login(make_drummer())

    page = client.get(reverse("mailroom:mail")).content.decode()
    assert "A quote" in page
    assert 'href="http://testserver/bookings/1/"' in page
    assert "550 No such mailbox" in page

    failed = client.get(reverse("mailroom:mail"), {"state": "failed"}).content.decode()
    assert "Gone wrong" in failed
    assert "A quote" not in failed


def test_a_failed_letter_is_sent_again(client: Client) -> None:
    mail = make_mail(state=Mail.State.FAILED)
    client.force_login(make_drummer())
    address = reverse("mailroom:send-again", args=[mail.pk])
    assert client.get(address).status_code == HTTPStatus.METHOD_NOT_ALLOWED
    client.post(address)
    mail.refresh_from_db()
    assert mail.state == Mail.State.QUEUED


def test_the_outbox_and_the_rules_are_the_drummer_s(client: Client, mara: User) -> None:
    client.force_login(mara)
    for name in ("mailroom:mail", "mailroom:rules"):
        assert client.get(reverse(name)).status_code == HTTPStatus.FORBIDDEN
    assert client.post(reverse("mailroom:send-again", args=[1])).status_code == HTTPStatus.FORBIDDEN


def test_the_outbox_asks_the_database_as_often_for_300_letters_as_for_3(
    client: Client, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    client.force_login(make_drummer())
    for total in (3, 300):
        Mail.objects.bulk_create(
            Mail(to="mara@example.com", subject="s", body="b", key=f"{total}:{number}")
            for number in range(total - Mail.objects.count())
        )
        # The session, the reader, how many of each state, how many on this list, and one page of them.
        with django_assert_num_queries(5):
            client.get(reverse("mailroom:mail"))
    assert Mail.objects.count() == 300


def test_threads_show_what_was_said_last_to_whom_it_concerns(client: Client, booking: Booking, mara: User) -> None:
    make_message(booking=booking, subject="An older one")
    make_question(song=booking.songs.get())
    make_message(booking=make_booking(client=make_client()), subject="Somebody else’s")

    client.force_login(mara)
    page = client.get(reverse("mailroom:threads")).content.decode()
    assert ": a question" in page
    assert "waiting for your answer" in page
    assert "An older one" not in page
    assert "Somebody else" not in page


def test_a_held_message_is_the_drummer_s_alone(client: Client, booking: Booking, mara: User) -> None:
    held = make_question(song=booking.songs.get(), state=Question.State.HELD, text="Not yet").message
    address = reverse("mailroom:message", args=[held.pk])

    client.force_login(mara)
    assert ": a question" not in client.get(reverse("mailroom:threads")).content.decode()
    assert client.get(address).status_code == HTTPStatus.NOT_FOUND
    assert "Not yet" not in client.get(booking.get_absolute_url()).content.decode()

    client.force_login(booking.created_by)
    assert "held for you" in client.get(reverse("mailroom:threads")).content.decode()
    assert reverse("intake:send-held", args=[held.pk]) in client.get(address).content.decode()


def test_the_threads_ask_the_database_as_often_for_300_as_for_3(
    client: Client, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    drummer = make_drummer()
    client.force_login(drummer)
    for total in (3, 300):
        made = Booking.objects.bulk_create(
            Booking(title=f"booking {number}", created_by=drummer) for number in range(total - Booking.objects.count())
        )
        Message.objects.bulk_create(
            Message(booking=row, key=f"{row.pk}:{number}", subject="s", body="b", sender=drummer)
            for row in made
            for number in range(2)
        )
        # The session, the reader, how many threads, one page of them, and the last message of each.
        with django_assert_num_queries(5):
            page = client.get(reverse("mailroom:threads")).content.decode()
    assert page.count("<tr") == THREADS_PER_PAGE + 1
    assert "Page 1 of 6" in page


def test_a_message_s_page_offers_one_tap_answers(client: Client, booking: Booking, mara: User) -> None:
    question = make_question(song=booking.songs.get())
    client.force_login(mara)
    page = client.get(reverse("mailroom:message", args=[question.message_id])).content.decode()
    assert page.count(f'action="{reverse("intake:answer", args=[question.pk])}"') == len(question.offers)
    assert re.search(r'<input name="value"[^>]*inputmode="decimal"', page)


def test_a_message_of_an_earlier_version_shows_its_answer(client: Client, booking: Booking, mara: User) -> None:
    answer = {"code": "it-is", "label": "It is", "value": "112.5", "unit": "bpm"}
    message = make_message(booking=booking, answers=ANSWERS, state=Message.State.ANSWERED)
    Message.objects.update(answer=answer, answered_by=mara, answered_at=timezone.now())
    client.force_login(booking.created_by)
    page = client.get(reverse("mailroom:message", args=[message.pk])).content.decode()
    assert "It is 112.5 bpm" in page
    assert "<button>It is" not in page


def test_both_sides_write_and_land_where_they_wrote(client: Client, booking: Booking, mara: User) -> None:
    address = reverse("mailroom:write", args=[booking.pk])
    for writer in (mara, booking.created_by):
        client.force_login(writer)
        back = booking.songs.get().get_absolute_url()
        data = {"body": "Softer, please.", "key": str(uuid.uuid4()), "song": booking.songs.get().pk, "back": back}
        assert client.post(address, data).headers["Location"] == back
    assert [(message.sender, message.song) for message in Message.objects.all()] == [
        (mara, booking.songs.get()),
        (booking.created_by, booking.songs.get()),
    ]


def test_an_empty_message_is_told_and_another_site_is_no_way_back(client: Client, booking: Booking, mara: User) -> None:
    client.force_login(mara)
    address = reverse("mailroom:write", args=[booking.pk])
    key = str(uuid.uuid4())
    assert "The message is empty" in client.post(address, {"body": " ", "key": key}).content.decode()
    away = client.post(address, {"body": "Hello", "key": key, "back": "https://example.com/"})
    assert away.headers["Location"] == booking.get_absolute_url()


def test_a_song_of_another_booking_is_not_written_about(client: Client, booking: Booking, mara: User) -> None:
    client.force_login(mara)
    other = make_booking(songs=1).songs.get()
    data = {"body": "Hello", "key": str(uuid.uuid4()), "song": other.pk}
    assert client.post(reverse("mailroom:write", args=[booking.pk]), data).status_code == HTTPStatus.NOT_FOUND


@pytest.mark.parametrize("named", ["9" * 5_000, "٣" * 5_000, "1" * 19])
def test_a_song_named_by_a_number_that_none_has_is_absent(
    client: Client, booking: Booking, mara: User, named: str
) -> None:
    client.force_login(mara)
    data = {"body": "Hello", "key": str(uuid.uuid4()), "song": named}
    assert client.post(reverse("mailroom:write", args=[booking.pk]), data).status_code == HTTPStatus.NOT_FOUND


def test_outsiders_find_no_message_and_no_place_to_write(client: Client, booking: Booking) -> None:
    message = make_message(booking=booking)
    client.force_login(make_client())
    assert client.get(reverse("mailroom:message", args=[message.pk])).status_code == HTTPStatus.NOT_FOUND
    assert client.post(reverse("mailroom:write", args=[booking.pk])).status_code == HTTPStatus.NOT_FOUND
    assert client.post(reverse("mailroom:invite", args=[booking.pk])).status_code == HTTPStatus.NOT_FOUND


def test_the_drummer_gives_another_client_a_seat(client: Client, booking: Booking, mara: User) -> None:
    address = reverse("mailroom:invite", args=[booking.pk])
    form = {"name": "Leo", "email": "leo@example.com", "key": str(uuid.uuid4())}
    client.force_login(mara)
    assert client.post(address, form).status_code == HTTPStatus.FORBIDDEN

    client.force_login(booking.created_by)
    wrong = client.post(address, form | {"email": booking.created_by.email}).content.decode()
    assert "drummer of this house" in wrong
    client.post(address, form)

    page = client.get(booking.get_absolute_url()).content.decode()
    assert "leo@example.com, has not signed in yet" in page
    assert Mail.objects.get().to == "leo@example.com"


def test_the_drummer_sets_the_rules(client: Client) -> None:
    client.force_login(make_drummer())
    address = reverse("mailroom:rules")
    page = client.get(address).content.decode()
    assert all(page.count(f'name="{kind.code}"') == 1 for kind in FINDING_KINDS)
    places = [page.index(f'id="{group}"') for group in ("in-one-file", "between-the-files", "in-the-song")]
    assert places[0] < page.index('name="clipped"') < places[1] < page.index('name="rate-differs"') < places[2]

    assert 'name="remind_after_days" value="3"' in page

    everything_held = {kind.code: "hold" for kind in FINDING_KINDS} | {"remind_after_days": "5"}
    wrong = client.post(address, everything_held | {"no-click": "sometimes"})
    assert "Nothing was saved" in wrong.content.decode()
    assert not MessageRule.objects.exists()

    client.post(address, everything_held)
    assert MessageRule.objects.filter(when="hold").count() == len(FINDING_KINDS)
    assert House.get().remind_after_days == 5


def test_times_are_shown_in_the_reader_s_zone(client: Client, booking: Booking, mara: User) -> None:
    mara.time_zone = "Asia/Seoul"
    mara.save()
    at = datetime(2026, 1, 1, 20, 0, tzinfo=UTC)
    message = make_message(booking=booking, created_at=at)
    client.force_login(mara)
    # 20:00 UTC is 05:00 the next morning in Seoul (UTC+9, no summer time).
    assert "2 Jan 2026, 05:00" in client.get(reverse("mailroom:message", args=[message.pk])).content.decode()


def test_each_question_stands_over_its_answers(client: Client, mara: User, booking: Booking) -> None:
    song = booking.songs.get()
    make_question(song=song)
    make_question(song=song, about="Meter", offers=[{"code": "meter=3/4", "label": "3/4 is right"}])
    client.force_login(mara)
    page = client.get(song.get_absolute_url()).content.decode()
    order = [page.index(words) for words in ("<h4>Tempo and click", "Please make the map", "<h4>Meter", "3/4 is right")]
    assert order == sorted(order)


def test_a_letter_with_a_new_password_waits_in_the_outbox_and_only_its_reader_sees_the_link(client: Client) -> None:
    user = make_client()
    for _ in range(2):  # pressed twice: one e-mail, but for the minute's end
        client.post(reverse("people:password-reset"), {"email": user.email})
    mail = Mail.objects.latest("pk")
    path = "/password-reset/"
    assert mail.state == Mail.State.QUEUED
    assert path in mail.body
    assert Mail.objects.count() <= 2

    client.force_login(make_drummer(is_staff=True, is_superuser=True))
    page = client.get(reverse("mailroom:mail")).content.decode()
    support = client.get(reverse("admin:mailroom_mail_change", args=[mail.pk])).content.decode()

    assert f"Only {user.email} can read" in page
    assert "A new password" in page
    assert path not in page
    assert path not in support


def test_who_may_not_sign_in_gets_no_letter_with_a_new_password(client: Client) -> None:
    for user in (make_invited_client(), make_client(is_active=False)):
        client.post(reverse("people:password-reset"), {"email": user.email})
    assert not Mail.objects.exists()


@pytest.mark.parametrize("is_demo", [True, False])
def test_the_mail_page_shows_a_way_in_only_where_nothing_is_sent(
    client: Client, settings: Settings, is_demo: bool
) -> None:
    settings.DEMO = is_demo
    make_mail(body="Come in: http://house.example/invitations/abc-DEF_123/ and see /bookings/7/.")
    client.force_login(make_drummer())
    page = client.get(reverse("mailroom:mail")).content.decode()
    assert ("abc-DEF_123" in page) is is_demo
    assert "/bookings/7/" in page
    assert ("sent to the reader alone" in page) is not is_demo


def test_a_message_that_asks_more_is_the_newest_again_and_says_when(client: Client, booking: Booking) -> None:
    living = make_question(song=booking.songs.get()).message
    Message.objects.filter(pk=living.pk).update(
        created_at=datetime(2030, 1, 1, 9, tzinfo=UTC), changed_at=datetime(2030, 1, 3, 9, tzinfo=UTC)
    )
    make_message(booking=booking, subject="Between", created_at=datetime(2030, 1, 2, 9, tzinfo=UTC))
    other = make_booking(client=booking.members.get().user)
    make_message(booking=other, subject="Elsewhere", created_at=datetime(2030, 1, 2, 12, tzinfo=UTC))
    client.force_login(booking.members.get().user)

    threads = client.get(reverse("mailroom:threads")).content.decode()
    assert threads.index(living.subject) < threads.index("Elsewhere")
    page = " ".join(client.get(booking.get_absolute_url()).content.decode().split())
    assert re.search(r"1 Jan 2030.*?, more asked <time[^>]*>3 Jan 2030", page)


def test_a_client_writes_only_so_many_messages_a_day(
    client: Client, booking: Booking, mara: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(services, "MOST_MESSAGES_A_DAY", 2)
    address = reverse("mailroom:write", args=[booking.pk])
    for writer, expected in ((mara, [302, 302, 422]), (booking.created_by, [302, 302, 302])):
        client.force_login(writer)
        answers = [client.post(address, {"body": "Hello", "key": str(uuid.uuid4())}) for _ in range(3)]
        assert [answer.status_code for answer in answers] == expected
        if writer == mara:
            assert "this one was not sent" in answers[-1].content.decode()
    assert Message.objects.filter(sender=mara).count() == 2

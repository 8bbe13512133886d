import pytest

from portal.bookings.models import Booking
from portal.bookings.services import seat_client
from portal.mailroom.models import Mail, Message, MessageRule
from portal.mailroom.services import (
    invite_client,
    post,
    send_again,
    set_rules,
    write,
)
from portal.people.models import User
from tests.factories import make_booking, make_client, make_drummer, make_invited_client, make_mail

pytestmark = pytest.mark.django_db


@pytest.fixture
def mara() -> User:
    return make_client(name="Mara")


@pytest.fixture
def booking(mara: User) -> Booking:
    return make_booking(client=mara, songs=1, title="Cold Bus Under Spoons")


def say(booking: Booking) -> Message:
    return post(
        booking=booking,
        song=booking.songs.get(),
        key="said:1",
        subject="Which tempo is right?",
        body="We read 112 beats per minute.",
    )


def test_the_same_thing_is_said_once(booking: Booking, mara: User) -> None:
    assert say(booking) == say(booking)
    mail = Mail.objects.get()
    assert (mail.to, mail.subject) == (mara.email, "Which tempo is right? (Cold Bus Under Spoons)")
    assert "Open it here:\nhttp://testserver/messages/" in mail.body
    assert booking.timeline.filter(text="“Which tempo is right?” was sent").count() == 1


def test_a_client_s_words_go_to_the_drummers_and_a_drummer_s_to_every_client(booking: Booking, mara: User) -> None:
    leo = make_client()
    seat_client(booking=booking, client=leo, by=booking.created_by)

    write(booking=booking, by=mara, body="Softer in the bridge, please.", key="1")
    assert [mail.to for mail in Mail.objects.all()] == [booking.created_by.email]
    assert "Mara wrote:\n\nSofter in the bridge, please." in Mail.objects.get().body
    assert "Read and reply:\nhttp" in Mail.objects.get().body

    Mail.objects.all().delete()
    write(booking=booking, by=booking.created_by, body="Gladly.", key="2")
    assert {mail.to for mail in Mail.objects.all()} == {mara.email, leo.email}


def test_the_same_form_sent_twice_is_one_message(booking: Booking, mara: User) -> None:
    write(booking=booking, by=mara, body="Softer, please.", key="1")
    write(booking=booking, by=mara, body="Softer, please.", key="1")
    assert Message.objects.count() == 1


def test_inviting_seats_and_writes_once_per_form(booking: Booking) -> None:
    jo = booking.created_by
    for _ in range(2):
        invite_client(booking=booking, email="leo@example.com", name="Leo", by=jo, key="form-1")
    assert booking.members.count() == 2
    assert "/invitations/" in Mail.objects.get().body

    invite_client(booking=booking, email="leo@example.com", name="Leo", by=jo, key="form-2")
    assert Mail.objects.count() == 2
    assert booking.members.count() == 2


def test_who_can_sign_in_gets_a_plain_letter(booking: Booking, mara: User) -> None:
    invite_client(booking=booking, email=mara.email, name="x", by=booking.created_by, key="form-1")
    body = Mail.objects.get().body
    assert "/invitations/" not in body
    assert f"http://testserver{booking.get_absolute_url()}" in body


def test_an_invited_client_who_has_not_come_in_gets_a_message_s_letter_too(booking: Booking) -> None:
    leo = make_invited_client()
    seat_client(booking=booking, client=leo, by=booking.created_by)
    say(booking)
    assert Mail.objects.filter(to=leo.email).exists()


def test_only_a_failed_letter_is_queued_again() -> None:
    failed, sent = make_mail(state=Mail.State.FAILED, tries=12), make_mail(state=Mail.State.SENT)
    for mail in (failed, sent):
        send_again(mail=mail)
        mail.refresh_from_db()
    assert (failed.state, failed.tries) == (Mail.State.QUEUED, 0)
    assert sent.state == Mail.State.SENT


def test_rules_are_kept_once_per_code() -> None:
    set_rules({"no-tempo": MessageRule.When.HOLD})
    set_rules({"no-tempo": MessageRule.When.NEVER})
    assert MessageRule.objects.get().when == "never"


def test_a_drummer_is_not_seated_as_a_client(booking: Booking) -> None:
    other = make_drummer()
    with pytest.raises(Exception, match="drummer of this house"):
        invite_client(booking=booking, email=other.email, name="x", by=booking.created_by, key="1")
    assert booking.members.count() == 1

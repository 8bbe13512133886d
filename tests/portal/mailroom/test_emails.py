import re

import pytest
from pytest_django import DjangoCaptureOnCommitCallbacks

from portal.bookings.services import cancel_booking, seat_client
from portal.mailroom.emails import letter, one_line, write_to_drummers, write_to_members
from portal.mailroom.models import Mail
from portal.mailroom.services import write
from portal.people.models import House, Invitation
from portal.people.services import find_invitation
from tests.factories import make_booking, make_client, make_drummer, make_invited_client

pytestmark = pytest.mark.django_db


def test_the_same_key_is_the_same_letter() -> None:
    first = letter(to="mara@example.com", subject="One", body="Hello", key="once")
    second = letter(to="mara@example.com", subject="Two", body="Hello again", key="once")
    assert first == second
    assert Mail.objects.get().subject == "One"


def test_a_letter_leaves_on_commit(
    mailoutbox: list[object], django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        mail = letter(to="mara@example.com", subject="One", body="Hello", key="once")
        assert mailoutbox == []
    assert len(mailoutbox) == 1
    mail.refresh_from_db()
    assert mail.state == Mail.State.SENT


def test_a_subject_is_one_line_of_bounded_length() -> None:
    assert one_line("Night\r\nBcc: all@example.com  bus") == "Night Bcc: all@example.com bus"
    assert len(one_line("x" * 500)) == 200


def test_members_get_a_letter_each_and_who_cannot_sign_in_a_way_in() -> None:
    mara, leo = make_client(name="Mara"), make_invited_client(name="Leo")
    booking = make_booking(client=mara, title="Cold Bus Under Spoons")
    seat_client(booking=booking, client=leo, by=booking.created_by)
    House.objects.update_or_create(pk=1, defaults={"name": "Room Nine"})

    for _ in range(2):  # asked for twice, written once
        write_to_members(
            booking=booking, by=booking.created_by, key="quote:1", subject="A quote", body="Please read it.", path="/q/"
        )

    to_mara, to_leo = Mail.objects.order_by("pk")
    assert to_mara.to == mara.email
    assert "Hello Mara,\n\nPlease read it." in to_mara.body
    assert links(to_mara) == ["http://testserver/q/"]
    assert to_mara.body.rstrip().endswith("Room Nine")
    token = links(to_leo)[0].split("/")[-2]
    assert find_invitation(token).user == leo
    assert find_invitation(token).about == "Cold Bus Under Spoons"
    assert find_invitation(token).lands_on == "/q/"
    assert Invitation.objects.count() == 1
    assert booking.timeline.filter(text="invited Leo").count() == 1


def links(mail: Mail) -> list[str]:
    return re.findall(r"https?://\S+", mail.body)


def test_names_are_written_as_they_are() -> None:
    booking = make_booking(client=make_client(name="Ana <b>& Co"))
    write_to_members(booking=booking, by=booking.created_by, key="k", subject="s", body="“Rain” & 'tin'", path="/")
    assert "Hello Ana <b>& Co,\n\n“Rain” & 'tin'" in Mail.objects.get().body


def test_every_drummer_gets_a_letter() -> None:
    jo, _ = make_drummer(), make_drummer(is_active=False)
    write_to_drummers(key="quote:1:accepted", subject="Accepted", body="Mara accepts.", path="/q/")
    assert Mail.objects.get().to == jo.email


def test_cancelling_a_booking_is_told_to_its_clients() -> None:
    mara = make_client()
    booking = make_booking(client=mara, title="Cold Bus Under Spoons")
    write(booking=booking, by=booking.created_by, body="Hello.", key="1")
    cancel_booking(booking=booking, by=booking.created_by, reason="")
    mail = Mail.objects.order_by("pk").last()
    assert mail is not None
    assert (mail.to, mail.subject) == (mara.email, "“Cold Bus Under Spoons” is cancelled")

from datetime import timedelta
from smtplib import SMTPRecipientsRefused, SMTPServerDisconnected

import pytest
from django.core.mail import EmailMessage
from django.test import override_settings
from django.utils import timezone

from portal.mailroom import jobs
from portal.mailroom.models import Mail
from portal.mailroom.models.outbox import MOST_TRIES
from portal.mailroom.tasks import send_mail, send_waiting
from portal.people.models import House
from tests.factories import make_mail

pytestmark = pytest.mark.django_db


class MailServer:
    """Stands in for the mail server: takes e-mails, or raises what it is told to."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.taken: list[EmailMessage] = []
        self.trouble: Exception | None = None

        def send(message: EmailMessage) -> int:
            if self.trouble:
                raise self.trouble
            self.taken.append(message)
            return 1

        monkeypatch.setattr(EmailMessage, "send", send)


@pytest.fixture
def server(monkeypatch: pytest.MonkeyPatch) -> MailServer:
    return MailServer(monkeypatch)


def test_a_letter_is_sent_once_however_often_the_task_runs(server: MailServer) -> None:
    mail = make_mail()
    send_mail(mail.pk)
    send_mail(mail.pk)
    send_waiting()

    mail.refresh_from_db()
    assert len(server.taken) == 1
    assert (mail.state, mail.tries) == (Mail.State.SENT, 1)
    assert mail.sent_at is not None


def test_a_letter_comes_from_the_house_and_is_answered_there(server: MailServer) -> None:
    House.objects.update_or_create(pk=1, defaults={"name": "Room, Nine", "reply_to": "jo@example.com"})
    mail = make_mail(subject="Grüße", body="Hello.")
    send_mail(mail.pk)

    message = server.taken[0].message()
    assert str(message["From"]).startswith('"Room, Nine" <')
    assert message["Reply-To"] == "jo@example.com"
    assert message["Auto-Submitted"] == "auto-generated"
    assert str(message["Message-ID"]).startswith(f"<mail-{mail.pk}.")


def test_two_processes_do_not_hold_one_letter() -> None:
    mail = make_mail()
    assert Mail.objects.claim(mail.pk) is not None
    assert Mail.objects.claim(mail.pk) is None
    Mail.objects.update(not_before=timezone.now())  # the first process died; its time is over
    assert Mail.objects.claim(mail.pk) is not None


def test_passing_trouble_is_waited_out_twice_as_long_each_time(server: MailServer) -> None:
    server.trouble = SMTPServerDisconnected("gone")
    mail = make_mail()
    waits = []
    for _ in range(4):
        Mail.objects.update(not_before=timezone.now())
        send_mail(mail.pk)
        mail.refresh_from_db()
        waits.append(round((mail.not_before - timezone.now()) / timedelta(minutes=1)))
    assert waits == [1, 2, 4, 8]
    assert (mail.state, mail.last_trouble) == (Mail.State.QUEUED, "The mail server could not be reached: gone")

    server.trouble = None
    send_waiting()
    assert server.taken == []  # not before its time
    Mail.objects.update(not_before=timezone.now())
    send_waiting()
    mail.refresh_from_db()
    assert (mail.state, mail.last_trouble) == (Mail.State.SENT, "")


def test_after_the_last_try_a_letter_has_failed(server: MailServer) -> None:
    server.trouble = OSError("no route")
    mail = make_mail(tries=MOST_TRIES - 1)
    send_mail(mail.pk)
    mail.refresh_from_db()
    assert mail.state == Mail.State.FAILED


@pytest.mark.parametrize(("code", "state"), [(550, Mail.State.FAILED), (450, Mail.State.QUEUED)])
def test_a_refusal_for_good_is_not_tried_again(server: MailServer, code: int, state: str) -> None:
    server.trouble = SMTPRecipientsRefused({"mara@example.com": (code, b"No such mailbox")})
    mail = make_mail()
    send_mail(mail.pk)
    mail.refresh_from_db()
    assert mail.state == state
    assert mail.last_trouble == f"The mail server refused the address: {code} No such mailbox"


def test_the_sweep_hands_out_what_was_never_queued(server: MailServer) -> None:
    for _ in range(3):
        make_mail()
    send_waiting()
    assert len(server.taken) == 3
    assert not Mail.objects.due().exists()


def test_a_bug_is_raised_once_and_does_not_go_round_for_ever(server: MailServer) -> None:
    server.trouble = ZeroDivisionError()
    mail = make_mail()
    with pytest.raises(ZeroDivisionError):
        jobs.send(mail.pk)
    mail.refresh_from_db()
    assert mail.state == Mail.State.FAILED


@override_settings(DEMO=False)
def test_of_an_invitation_that_is_sent_the_link_is_forgotten(server: MailServer) -> None:
    mail = make_mail(body="Come in: http://house.example/invitations/abc-DEF_123/ by Friday.")
    send_mail(mail.pk)
    mail.refresh_from_db()
    assert mail.state == Mail.State.SENT
    assert "abc-DEF_123" in str(server.taken[-1].body)
    assert "abc-DEF_123" not in mail.body
    assert "by Friday" in mail.body


def test_a_private_letter_is_tried_again_and_forgotten_once_it_is_sent(server: MailServer) -> None:
    mail = make_mail(body="a way in", is_private=True)
    server.trouble = SMTPServerDisconnected("gone")
    send_mail(mail.pk)
    mail.refresh_from_db()
    assert (mail.state, mail.body) == (Mail.State.QUEUED, "a way in")

    server.trouble = None
    Mail.objects.update(not_before=timezone.now())
    send_waiting()

    mail.refresh_from_db()
    assert (mail.state, mail.body) == (Mail.State.SENT, "")
    assert server.taken[0].body == "a way in"

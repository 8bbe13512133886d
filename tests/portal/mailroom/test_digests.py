"""More to answer, and nobody came to look: one e-mail, not sooner than a while after the change."""

from datetime import timedelta

import pytest
from django.utils import timezone

from portal.bookings.models import Song
from portal.mailroom.asking import mark_seen
from portal.mailroom.digests import STILL_FOR
from portal.mailroom.models import Mail, Message, MessageSeen
from portal.mailroom.tasks import send_digests
from portal.people.models import User
from tests.factories import make_client, make_question, make_song

pytestmark = pytest.mark.django_db
LONG = 2 * STILL_FOR


@pytest.fixture
def mara() -> User:
    return make_client()


@pytest.fixture
def song(mara: User) -> Song:
    return make_song(client=mara)


def message_that(song: Song, *, mailed: timedelta, changed: timedelta) -> Message:
    """So long ago its readers were written to, and so long ago it changed."""
    question = make_question(song=song)
    now = timezone.now()
    at = {"mailed_at": now - mailed, "changed_at": now - changed}
    Message.objects.update(subject=question.message.subject, body="Is 112 right?", **at)
    return question.message


def digests() -> int:
    for _ in range(2):
        send_digests()
    return Mail.objects.filter(subject__startswith="More to answer").count()


def test_a_change_that_nobody_saw_is_told_once(song: Song, mara: User) -> None:
    message_that(song, mailed=3 * LONG, changed=LONG)

    assert digests() == 1
    mail = Mail.objects.get()
    assert mail.to == mara.email
    assert "Is 112 right?" in mail.body


def test_not_before_it_was_still_for_a_while(song: Song) -> None:
    message_that(song, mailed=LONG, changed=STILL_FOR / 2)

    assert digests() == 0


def test_what_the_first_e_mail_said_is_not_told_again(song: Song) -> None:
    message_that(song, mailed=LONG, changed=LONG)

    assert digests() == 0


def test_not_where_one_of_the_client_s_side_has_looked(song: Song, mara: User) -> None:
    message_that(song, mailed=3 * LONG, changed=LONG)
    song.booking.members.create(user=make_client())
    mark_seen(user=mara, booking_id=song.booking_id, song_id=song.pk)

    assert digests() == 0


def test_a_look_before_the_change_does_not_count(song: Song, mara: User) -> None:
    message = message_that(song, mailed=3 * LONG, changed=LONG)
    MessageSeen.objects.create(message=message, user=mara, at=timezone.now() - 2 * LONG)

    assert digests() == 1


def test_the_drummer_s_look_is_not_the_client_s(song: Song) -> None:
    message_that(song, mailed=3 * LONG, changed=LONG)
    mark_seen(user=song.booking.created_by, booking_id=song.booking_id)

    assert digests() == 1


def test_after_one_that_nobody_looked_at_there_is_no_second(song: Song, mara: User) -> None:
    message = message_that(song, mailed=3 * LONG, changed=LONG)
    assert digests() == 1
    Message.objects.update(mailed_at=timezone.now() - 2 * LONG, changed_at=timezone.now() - LONG)
    assert digests() == 1

    MessageSeen.objects.create(message=message, user=mara, at=timezone.now() - 1.5 * LONG)
    assert digests() == 2


def test_what_is_answered_or_over_is_not_told(song: Song) -> None:
    message_that(song, mailed=3 * LONG, changed=LONG)
    Message.objects.update(state=Message.State.ANSWERED)
    assert digests() == 0
    Message.objects.update(state=Message.State.SENT)
    song.booking.stage = "cancelled"
    song.booking.save()
    assert digests() == 0


def test_opening_a_page_is_a_look_and_its_own_reloads_are_not(client: object, song: Song, mara: User) -> None:
    message = message_that(song, mailed=LONG, changed=LONG)
    client.force_login(mara)  # type: ignore[attr-defined]
    client.get(song.get_absolute_url(), headers={"HX-Request": "true"})  # type: ignore[attr-defined]
    assert not message.seen.exists()

    for address in (song.get_absolute_url(), song.booking.get_absolute_url(), f"/messages/{message.pk}/"):
        MessageSeen.objects.all().delete()
        client.get(address)  # type: ignore[attr-defined]
        assert message.seen.get().user == mara, address

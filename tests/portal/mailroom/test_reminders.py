"""Open questions are brought to mind: when, how often, to whom, and never at night."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.utils import timezone

from portal.bookings.models import Booking
from portal.mailroom.models import Mail, Message, Question
from portal.mailroom.services import set_reminding
from portal.mailroom.tasks import remind
from portal.people.models import User
from tests.factories import make_booking, make_client, make_message, make_question, make_song

pytestmark = pytest.mark.django_db

ASKED = datetime(2026, 11, 20, 12, 0, tzinfo=UTC)
DAY = timedelta(days=1)


class Clock:
    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.now = ASKED
        monkeypatch.setattr(timezone, "now", lambda: self.now)

    def run(self, after: timedelta) -> int:
        """The task, twice, so long after the question; how many reminders there are then."""
        self.now = ASKED + after
        known = list(Mail.objects.values_list("pk", flat=True))
        for _ in range(2):
            remind()
            Mail.objects.exclude(pk__in=known).update(created_at=self.now)  # the column's default is the real clock
        return Mail.objects.filter(subject__startswith="Still open").count()


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    return Clock(monkeypatch)


@pytest.fixture
def mara() -> User:
    return make_client(name="Mara", time_zone="UTC")


def question(client: User, **fields: Any) -> Message:
    song = make_song(client=client)
    Booking.objects.filter(pk=song.booking_id).update(title="Cold Bus Under Spoons")
    asked = make_question(song=song, asked_at=ASKED, **fields)
    Message.objects.filter(pk=asked.message_id).update(
        subject="One open question", body=asked.message.body, created_at=ASKED
    )
    return Message.objects.get(pk=asked.message_id)


def test_a_question_is_brought_to_mind_twice_and_no_more(clock: Clock, mara: User) -> None:
    message = question(mara)
    counts = [clock.run(days * DAY) for days in (2, 3, 5, 6, 9, 30)]
    assert counts == [0, 1, 1, 2, 2, 2]
    letter = Mail.objects.filter(to=mara.email).earliest("pk")
    assert letter.subject == "Still open, One open question (Cold Bus Under Spoons)"
    assert "since 20 Nov 2026, 12:00 UTC" in letter.body
    assert f"/messages/{message.pk}/" in letter.body
    assert message.booking.timeline.filter(text="reminded Mara of “One open question”").count() == 2


@pytest.mark.parametrize(
    ("zone", "hours", "reminded"),
    [
        # Three days after 12:00 UTC it is 21:00 in Seoul (UTC+9); twelve hours later 09:00.
        ("Asia/Seoul", 0, 0),
        ("Asia/Seoul", 11, 0),
        ("Asia/Seoul", 12, 1),
        # 07:00 in New York (UTC-5 in winter), and two hours later 09:00.
        ("America/New_York", 0, 0),
        ("America/New_York", 2, 1),
    ],
)
def test_nobody_is_reminded_at_night(clock: Clock, zone: str, hours: int, reminded: int) -> None:
    question(make_client(time_zone=zone))
    assert clock.run(3 * DAY + timedelta(hours=hours)) == reminded


def test_each_reader_has_a_day_of_their_own(clock: Clock, mara: User) -> None:
    message = question(mara)
    leo = make_client(time_zone="Asia/Seoul")
    message.booking.members.create(user=leo)
    assert clock.run(3 * DAY) == 1
    assert clock.run(3.5 * DAY) == 2
    assert Mail.objects.filter(to=leo.email).count() == 1


@pytest.mark.parametrize("state", ["held", "settled", "moot"])
def test_only_what_is_asked_is_brought_to_mind(clock: Clock, mara: User, state: str) -> None:
    question(mara, state=state)
    assert clock.run(3 * DAY) == 0


def test_an_answer_what_is_settled_and_a_booking_that_is_over_end_it(clock: Clock, mara: User) -> None:
    first, second, third = question(mara), question(mara), question(mara)
    assert clock.run(3 * DAY) == 3
    given = {"code": "make-map", "label": "", "value": "", "unit": ""}
    first.questions.update(state=Question.State.SENT, answer=given)
    second.questions.update(state=Question.State.SETTLED)
    Booking.objects.filter(pk=third.booking_id).update(stage="cancelled")
    assert clock.run(6 * DAY) == 3


def test_what_is_asked_later_has_reminders_of_its_own_after_the_first_is_answered(clock: Clock, mara: User) -> None:
    message = question(mara)
    assert clock.run(3 * DAY) == 1
    later = make_question(song=message.song, asked_at=ASKED + 2 * DAY)  # type: ignore[arg-type]
    message.questions.exclude(pk=later.pk).update(state=Question.State.MOOT)
    # Two days after the later one, a day after the e-mail about the first, nobody is written to again.
    assert clock.run(4 * DAY) == 1
    assert clock.run(6 * DAY) == 2


def test_what_asks_nothing_and_a_reminding_switched_off_stay_silent(clock: Clock, mara: User) -> None:
    make_message(booking=make_booking(client=mara), created_at=ASKED)
    assert clock.run(3 * DAY) == 0
    question(mara)
    set_reminding(after_days=0)
    assert clock.run(9 * DAY) == 0
    set_reminding(after_days=9)
    assert clock.run(9 * DAY) == 1

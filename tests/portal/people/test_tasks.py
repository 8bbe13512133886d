from datetime import timedelta

import pytest
from django.conf import settings
from django.contrib.sessions.models import Session
from django.test import Client
from django.utils import timezone

from portal.people.tasks import clear_sessions
from tests.factories import make_client


@pytest.mark.django_db
def test_sessions_that_have_ended_go_and_others_stay(client: Client) -> None:
    client.force_login(make_client())
    ended = Session.objects.create(session_key="ended", session_data="", expire_date=timezone.now() - timedelta(days=1))
    clear_sessions()
    assert list(Session.objects.values_list("session_key", flat=True)) == [client.session.session_key]
    assert ended.session_key != client.session.session_key


def test_the_clock_asks_for_it_daily() -> None:
    entry = settings.CELERY_BEAT_SCHEDULE["clear expired sessions"]
    assert (entry["task"], entry["schedule"]) == (clear_sessions.name, 24 * 3_600)

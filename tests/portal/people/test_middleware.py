import pytest
from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from portal.people.middleware import TimeZoneMiddleware
from portal.people.models import User
from tests.factories import make_client

pytestmark = pytest.mark.django_db


def zone_during_a_request_of(user: User | AnonymousUser) -> str:
    seen = []

    def view(_request: HttpRequest) -> HttpResponse:
        seen.append(str(timezone.get_current_timezone()))
        return HttpResponse()

    request = HttpRequest()
    request.user = user
    TimeZoneMiddleware(view)(request)
    return seen[0]


def test_times_are_in_the_reader_s_zone_for_the_length_of_the_request() -> None:
    assert zone_during_a_request_of(make_client(time_zone="Asia/Seoul")) == "Asia/Seoul"
    assert str(timezone.get_current_timezone()) == "UTC"


def test_before_signing_in_times_are_in_the_default_zone() -> None:
    assert zone_during_a_request_of(AnonymousUser()) == "UTC"

"""Shows every time in the zone of whoever looks at it: the person's own, or UTC before they sign in."""

import zoneinfo
from collections.abc import Callable

from django.http import HttpRequest, HttpResponseBase
from django.utils import timezone


class TimeZoneMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if not request.user.is_authenticated:
            return self.get_response(request)
        with timezone.override(zoneinfo.ZoneInfo(request.user.time_zone)):
            return self.get_response(request)

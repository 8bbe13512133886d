"""What every request of a signed-in person brings: times in their own zone, and a device that is known from now on."""

import zoneinfo
from collections.abc import Callable

from django.http import HttpRequest, HttpResponseBase
from django.utils import timezone

from portal.people.devices import remember_device


class TimeZoneMiddleware:
    """Every time is shown in the zone of whoever looks at it; in UTC before they sign in."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if not request.user.is_authenticated:
            return self.get_response(request)
        with timezone.override(zoneinfo.ZoneInfo(request.user.time_zone)):
            return self.get_response(request)


class DeviceMiddleware:
    """After a sign-in the device is remembered; a signed-in one needs no other look."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        came_in_as = request.user.pk
        response = self.get_response(request)
        if request.user.is_authenticated and request.user.pk != came_in_as:
            remember_device(request, response, account=request.user.email)
        return response

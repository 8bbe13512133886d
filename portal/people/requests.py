"""The request of somebody who is signed in: what views behind `login_required` are given."""

from django.http import HttpRequest
from django_htmx.middleware import HtmxDetails

from portal.people.models import User


class MemberRequest(HttpRequest):
    user: User
    htmx: HtmxDetails

"""The request of somebody who is signed in: what views behind `login_required` are given."""

from http import HTTPStatus

from django.forms import BaseForm
from django.http import HttpRequest
from django_htmx.middleware import HtmxDetails

from portal.people.models import User


class MemberRequest(HttpRequest):
    user: User
    htmx: HtmxDetails


def status_of(form: BaseForm) -> int:
    """The status of a page that shows a form: as it is for the first time, or sent with something wrong in it."""
    return HTTPStatus.UNPROCESSABLE_ENTITY if form.errors else HTTPStatus.OK

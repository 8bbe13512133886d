"""Who may do what, where a row's own `visible_to` does not say it."""

from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar, cast

from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import HttpResponseBase

from portal.people.models import User
from portal.people.requests import MemberRequest

View = TypeVar("View", bound=Callable[..., HttpResponseBase])


def require_drummer(user: User, sentence: str = "Only the drummer can do this.") -> None:
    """The sentence is what the page says to anybody else."""
    if not user.is_drummer:
        raise PermissionDenied(sentence)


def drummer_required(view: View) -> View:
    """For pages of the house that belong to no booking: nobody signs in, a client gets 403."""

    @wraps(view)
    def guarded(request: MemberRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        require_drummer(request.user, "This page is the drummer’s.")
        return view(request, *args, **kwargs)

    return cast(View, login_required(guarded))

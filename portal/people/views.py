"""Coming in, and what a person may set about themselves and the house."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth import views as auth
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from portal.people import addresses, services
from portal.people.access import drummer_required
from portal.people.errors import (
    AddressChangeError,
    InvitationError,
    InvitationExpiredError,
    InvitationUnknownError,
    InvitationUsedError,
)
from portal.people.forms import ClientForm, HouseForm, MeForm, TakeInvitationForm
from portal.people.models import House, User
from portal.people.requests import MemberRequest, status_of

# W3C Clear Site Data: whoever signs in next on this device finds nothing of what pages kept on it.
CLEARED = '"cache", "storage"'
BACKEND = "django.contrib.auth.backends.ModelBackend"


class SignOutView(auth.LogoutView):
    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        response = super().dispatch(request, *args, **kwargs)
        response.headers["Clear-Site-Data"] = CLEARED
        return response


@sensitive_post_parameters("password")
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def invitation(request: HttpRequest, token: str) -> HttpResponse:
    try:
        found = services.find_invitation(token)
        form = TakeInvitationForm(request.POST or None, user=found.user)
        if request.method == "POST" and form.is_valid():
            user, lands_on = services.take_invitation(token=token, **form.cleaned_data)
            login(request, user, backend=BACKEND)
            return redirect(lands_on)
    except InvitationUsedError as error:
        if lands_on := services.landing_of(token, request.user):
            return redirect(lands_on)
        return closed_invitation(request, error)
    except InvitationError as error:
        return closed_invitation(request, error)
    context = {"invitation": found, "form": form, "house": House.get()}
    return render(request, "people/invitation.html", context, status=status_of(form))


def closed_invitation(request: HttpRequest, error: InvitationError) -> HttpResponse:
    status = HTTPStatus.NOT_FOUND if isinstance(error, InvitationUnknownError) else HTTPStatus.GONE
    context = {"sentence": str(error), "has_run_out": isinstance(error, InvitationExpiredError)}
    return render(request, "people/invitation_closed.html", context, status=status)


@require_http_methods(["GET", "POST"])
@login_required
def me(request: MemberRequest) -> HttpResponse:
    form = MeForm(request.POST or None, instance=request.user)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect("people:me")
    if form.errors:
        request.user.refresh_from_db()  # the header shows the name as it is stored
    return render(request, "people/me.html", {"form": form}, status=status_of(form))


@require_http_methods(["GET", "POST"])
@drummer_required
def house(request: MemberRequest) -> HttpResponse:
    form = HouseForm(request.POST or None, instance=House.get())
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect("people:house")
    return render(request, "people/house.html", {"form": form}, status=status_of(form))


@require_http_methods(["GET", "POST"])
@drummer_required
def client(request: MemberRequest, user_id: int) -> HttpResponse:
    """A client's name and address, for the drummer to correct."""
    person = get_object_or_404(User, pk=user_id, role=User.Role.CLIENT)
    form = ClientForm(request.POST or None, initial={"name": person.name, "email": person.email})
    if request.method == "POST" and form.is_valid() and _correct_client(request, person, form):
        return redirect("people:client", person.pk)
    waiting = person.address_changes.open().filter(expires_at__gt=timezone.now()).order_by("-pk").first()
    context = {"person": person, "form": form, "waiting": waiting}
    return render(request, "people/client.html", context, status=status_of(form))


def _correct_client(request: MemberRequest, person: User, form: ClientForm) -> bool:
    name, email = form.cleaned_data["name"], form.cleaned_data["email"]
    try:
        is_asked = addresses.change_address(
            client=person, email=email, by=request.user, address_of_link=settings.BASE_URL
        )
    except AddressChangeError as error:
        form.add_error("email", str(error))
        return False
    addresses.rename_client(client=person, name=name, by=request.user)
    messages.success(request, f"Saved. {email} has to confirm the address." if is_asked else "Saved.")
    return True


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def address(request: HttpRequest, change_token: str) -> HttpResponse:
    """Confirms a new address. A program that previews links confirms nothing: that takes the button."""
    try:
        change = addresses.find_change(change_token)
        if request.method == "POST":
            addresses.confirm_address(token=change_token)
    except AddressChangeError as error:
        return render(request, "people/address_closed.html", {"sentence": str(error)}, status=HTTPStatus.GONE)
    context = {"change": change, "is_confirmed": request.method == "POST", "house": House.get()}
    return render(request, "people/address.html", context)

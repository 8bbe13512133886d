"""Deciding how long the originals of a booking stay."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_POST

from portal.bookings.models import Booking
from portal.intake.errors import KeepingError
from portal.intake.retention import services as retention
from portal.people.access import require_drummer
from portal.people.requests import MemberRequest


def find_booking(request: MemberRequest, booking_id: int) -> Booking:
    return get_object_or_404(Booking.objects.visible_to(request.user), pk=booking_id)


def back_to(booking: Booking) -> HttpResponse:
    return redirect(f"{booking.get_absolute_url()}#originals")


@require_POST
@login_required
def ask_to_keep(request: MemberRequest, booking_id: int) -> HttpResponse:
    booking = find_booking(request, booking_id)
    if request.user.is_drummer:
        raise PermissionDenied
    try:
        retention.ask_to_keep(booking=booking, by=request.user)
        messages.success(request, "Nothing is removed until the drummer has decided.")
    except KeepingError as error:
        messages.error(request, str(error))
    return back_to(booking)


@require_POST
@login_required
def extend(request: MemberRequest, booking_id: int) -> HttpResponse:
    booking = find_booking(request, booking_id)
    require_drummer(request.user)
    try:
        retention.extend(booking=booking, by=request.user)
        messages.success(request, "The files are kept longer.")
    except KeepingError as error:
        messages.error(request, str(error))
    return back_to(booking)


@require_POST
@login_required
def let_go(request: MemberRequest, booking_id: int) -> HttpResponse:
    booking = find_booking(request, booking_id)
    require_drummer(request.user)
    try:
        retention.let_go(booking=booking, by=request.user)
        messages.success(request, "Both sides get an e-mail before the files are removed.")
    except KeepingError as error:
        messages.error(request, str(error))
    return back_to(booking)

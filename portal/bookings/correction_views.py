"""Corrections: the drummer's page for them, and the client's answer where one is asked."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from portal.bookings import corrections
from portal.bookings.correction_forms import CorrectForm, DueAnswerForm, SongsForm
from portal.bookings.errors import BookingError
from portal.bookings.models import Booking, Member, Song
from portal.people.access import require_drummer
from portal.people.requests import MemberRequest, status_of


@require_http_methods(["GET", "POST"])
@login_required
def correct(request: MemberRequest, booking_id: int) -> HttpResponse:
    booking = _booking(request, booking_id)
    require_drummer(request.user)
    form = CorrectForm(request.POST or None, initial=_as_is(booking))
    if request.method != "POST" or not form.is_valid():
        return _page(request, booking, form=form, status=status_of(form))
    typed = form.cleaned_data

    def change() -> str:
        corrections.rename_booking(booking=booking, title=typed["title"], by=request.user)
        asked = corrections.set_due_date(booking=booking, due_on=typed["due_on"], by=request.user)
        return "Saved. The client is asked to accept the due date." if asked else "Saved."

    _say(request, change)
    return redirect("bookings:correct", booking.pk)


@require_POST
@login_required
def correct_songs(request: MemberRequest, booking_id: int) -> HttpResponse:
    booking = _booking(request, booking_id)
    require_drummer(request.user)
    form = SongsForm(request.POST, booking.songs.all())
    if not form.is_valid():
        return _page(request, booking, songs_form=form, status=status_of(form))

    def change() -> str:
        corrections.correct_songs(booking=booking, titles=form.titles, order=form.order, by=request.user)
        return "The songs are saved."

    _say(request, change)
    return redirect("bookings:correct", booking.pk)


@require_POST
@login_required
def answer_due(request: MemberRequest, booking_id: int) -> HttpResponse:
    booking = _booking(request, booking_id)
    if request.user.is_drummer:
        raise PermissionDenied("A due date is accepted or declined by the client.")
    form = DueAnswerForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Accept or decline the due date with one of the two buttons.")
        return redirect(booking)
    accepts, due_on = form.cleaned_data["answer"] == "accept", form.cleaned_data["due_on"]

    def change() -> str:
        corrections.answer_due_date(booking=booking, accepts=accepts, due_on=due_on, by=request.user)
        return "You have accepted the new due date." if accepts else "You have declined the new due date."

    _say(request, change)
    return redirect(booking)


@require_POST
@login_required
def withdraw_seat(request: MemberRequest, member_id: int) -> HttpResponse:
    visible = Booking.objects.visible_to(request.user)
    members = Member.objects.filter(booking__in=visible).select_related("booking", "user")
    member = get_object_or_404(members, pk=member_id)
    require_drummer(request.user)

    def change() -> str:
        corrections.withdraw_seat(member=member, by=request.user)
        return f"{member.user.name} no longer sees this booking."

    _say(request, change)
    return redirect("bookings:correct", member.booking_id)


@require_POST
@login_required
def take_out(request: MemberRequest, song_id: int) -> HttpResponse:
    song = _song(request, song_id)

    def change() -> str:
        corrections.take_out_song(song=song, by=request.user)
        return f"“{song.title}” is taken out. You can put it back here.{_price_words(song.booking)}"

    _say(request, change)
    return redirect("bookings:correct", song.booking_id)


@require_POST
@login_required
def put_back(request: MemberRequest, song_id: int) -> HttpResponse:
    song = _song(request, song_id)

    def change() -> str:
        corrections.put_back_song(song=song, by=request.user)
        return f"“{song.title}” is back.{_price_words(song.booking)}"

    _say(request, change)
    return redirect("bookings:correct", song.booking_id)


def _booking(request: MemberRequest, booking_id: int) -> Booking:
    return get_object_or_404(Booking.objects.visible_to(request.user), pk=booking_id)


def _song(request: MemberRequest, song_id: int) -> Song:
    song = get_object_or_404(Song.objects.visible_to(request.user).select_related("booking"), pk=song_id)
    require_drummer(request.user)
    return song


def _as_is(booking: Booking) -> dict[str, Any]:
    return {"title": booking.title, "due_on": booking.due_proposed_on or booking.due_on}


def _price_words(booking: Booking) -> str:
    booking = Booking.objects.get(pk=booking.pk)
    if booking.is_over:
        return f" The booking is {booking.get_stage_display()} now: what was agreed stands."
    return " A new version of the quote is drafted: check its price, then send it." if booking.agreed_once else ""


def _say(request: MemberRequest, change: Callable[[], str]) -> None:
    try:
        messages.success(request, change())
    except BookingError as error:
        messages.error(request, str(error))


def _page(
    request: MemberRequest,
    booking: Booking,
    *,
    form: CorrectForm | None = None,
    songs_form: SongsForm | None = None,
    status: int = 200,
) -> HttpResponse:
    context = {
        "booking": booking,
        "form": form or CorrectForm(initial=_as_is(booking)),
        "songs_form": songs_form or SongsForm(None, booking.songs.all()),
        "members": booking.members.select_related("user").order_by("pk"),
    }
    return render(request, "bookings/correct.html", context, status=status)

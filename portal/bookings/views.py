"""The board, bookings, songs and their briefs."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from portal.bookings import hooks, services
from portal.bookings.board_page import archive_page, board_page, with_people
from portal.bookings.errors import BookingError
from portal.bookings.forms import AddSongForm, BoardFilterForm, BriefForm, CancelForm, NewBookingForm
from portal.bookings.models import Booking, Brief, Song
from portal.bookings.stages import BOOKING_COURSE, SongStage, song_course
from portal.bookings.turn_page import booking_turn, song_turn
from portal.people.access import drummer_required, require_drummer
from portal.people.models import User
from portal.people.requests import MemberRequest, status_of

# What a song page shows first: what the stage is about.
QUESTION_PARTS = ("messages", "listening", "brief", "files", "prep", "chart", "takes", "rough-mixes", "delivery")
INTAKE_PARTS = ("listening", "brief", "files", "messages", "prep", "chart", "takes", "rough-mixes", "delivery")
TAKE_PARTS = ("rough-mixes", "takes", "delivery", "prep", "chart", "messages", "brief", "files")
DELIVERY_PARTS = ("delivery", "rough-mixes", "takes", "messages", "prep", "chart", "brief", "files")


@require_GET
def home(request: HttpRequest) -> HttpResponse:
    if not request.user.is_authenticated:
        return redirect("people:sign-in")
    return redirect("intake:desk" if request.user.is_drummer else "bookings:board")


@require_GET
@login_required
def board(request: MemberRequest) -> HttpResponse:
    form = BoardFilterForm(request.GET, user=request.user)
    board = board_page(request.user, form.look, request.GET.get("page"))
    return render(request, "bookings/board.html", {"board": board, "form": form})


@require_GET
@login_required
def archive(request: MemberRequest) -> HttpResponse:
    """What is over."""
    form = BoardFilterForm(request.GET, user=request.user, over=True)
    page = archive_page(request.user, form.look, request.GET.get("page"))
    return render(request, "bookings/archive.html", {"page": page, "look": form.look, "form": form})


@require_http_methods(["GET", "POST"])
@drummer_required
def new(request: MemberRequest) -> HttpResponse:
    form = NewBookingForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        booking = services.open_booking(by=request.user, **form.cleaned_data)
        messages.success(request, f"“{booking.title}” is open. Write the quote, then send it.")
        return redirect("money:quote", booking.pk)
    return render(request, "bookings/new.html", {"form": form}, status=status_of(form))


@require_GET
@login_required
def booking(request: MemberRequest, booking_id: int) -> HttpResponse:
    booking = find_booking(request, booking_id)
    note_opened(request, booking)
    return render_booking(request, booking)


@require_POST
@login_required
def add_song(request: MemberRequest, booking_id: int) -> HttpResponse:
    booking = find_booking(request, booking_id)
    require_drummer(request.user)
    form = AddSongForm(request.POST)
    if not form.is_valid():
        return render_booking(request, booking, add_song_form=form, status=status_of(form))
    try:
        services.add_song(booking=booking, title=form.cleaned_data["title"], by=request.user)
    except BookingError as error:
        messages.error(request, str(error))
    return redirect(booking)


@require_POST
@login_required
def cancel(request: MemberRequest, booking_id: int) -> HttpResponse:
    booking = find_booking(request, booking_id)
    require_drummer(request.user)
    form = CancelForm(request.POST)
    if not form.is_valid():
        return render_booking(request, booking, cancel_form=form, status=status_of(form))
    try:
        services.cancel_booking(booking=booking, by=request.user, reason=form.cleaned_data["reason"])
    except BookingError as error:
        messages.error(request, str(error))
    return redirect(booking)


@require_GET
@login_required
def song(request: MemberRequest, song_id: int) -> HttpResponse:
    song = find_song(request, song_id)
    note_opened(request, song.booking, song)
    context = {
        "song": song,
        "brief": song.brief,
        "turn": song_turn(song, request.user),
        "course": song_course(song.stage, for_client=not request.user.is_drummer, mix_accepted=song.mix_accepted),
        "parts": parts_of(song, request.user),
        "takes_brief": services.takes_brief(song),
        "timeline": list(song.timeline.select_related("actor").reverse()),
    }
    return render(request, "bookings/song.html", context)


@require_http_methods(["GET", "POST"])
@login_required
def brief(request: MemberRequest, song_id: int) -> HttpResponse:
    song = find_song(request, song_id)
    # The form works on a row of its own, so that the service can tell what has changed.
    form = BriefForm(request.POST or None, instance=Brief.objects.get(song=song))
    if request.method == "POST" and form.is_valid():
        try:
            services.save_brief(song=song, by=request.user, **form.cleaned_data)
        except BookingError as error:
            messages.error(request, str(error))
        else:
            messages.success(request, "The brief is saved.")
        return redirect(song)
    context = {"song": song, "form": form, "takes_brief": services.takes_brief(song)}
    return render(request, "bookings/brief.html", context, status=status_of(form))


def note_opened(request: MemberRequest, booking: Booking, song: Song | None = None) -> None:
    """A part that a page loads again by itself is not somebody who looks."""
    if not request.htmx:
        for call in hooks.on_page_opened:
            call(booking.pk, song.pk if song else None, request.user.pk)


def find_booking(request: MemberRequest, booking_id: int) -> Booking:
    bookings = with_people(Booking.objects.visible_to(request.user)).prefetch_related("songs__brief")
    return get_object_or_404(bookings, pk=booking_id)


def find_song(request: MemberRequest, song_id: int) -> Song:
    songs = Song.objects.visible_to(request.user).select_related("booking__created_by", "brief")
    return get_object_or_404(songs, pk=song_id)


def parts_of(song: Song, user: User) -> tuple[str, ...]:
    """A question comes first; on the desk it may be one that is held for the drummer."""
    if song.stage == SongStage.WITH_CLIENT or (song.stage == SongStage.ON_DESK and user.is_drummer):
        return QUESTION_PARTS
    if song.stage in (SongStage.READY, SongStage.TRACKING, SongStage.IN_REVIEW):
        return TAKE_PARTS
    return DELIVERY_PARTS if song.stage in (SongStage.DELIVERED, SongStage.ACCEPTED) else INTAKE_PARTS


def render_booking(
    request: MemberRequest,
    booking: Booking,
    *,
    add_song_form: AddSongForm | None = None,
    cancel_form: CancelForm | None = None,
    status: int = 200,
) -> HttpResponse:
    context = {
        "booking": booking,
        "songs": [(song, song_turn(song, request.user)) for song in booking.songs.all()],
        "turn": booking_turn(booking, request.user),
        "course": BOOKING_COURSE,
        "timeline": list(booking.timeline.select_related("actor", "song").reverse()),
        "add_song_form": add_song_form or AddSongForm(),
        "cancel_form": cancel_form or CancelForm(),
    }
    return render(request, "bookings/booking.html", context, status=status)

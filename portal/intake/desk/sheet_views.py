"""The song sheet, and every decision made there."""

from __future__ import annotations

from http import HTTPStatus

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from portal.bookings.models import Song
from portal.intake.checks import questions, services
from portal.intake.checks.page_version import Seen
from portal.intake.checks.tapping import TapsForm, keep_taps, tapping_shown
from portal.intake.desk.forms import OverruleForm, WaiveForm
from portal.intake.desk.queue_page import next_after
from portal.intake.desk.sheet_page import overrule_form, sheet_page
from portal.intake.desk.song_views import find_song
from portal.intake.desk.waiting_words import waiting_sentences
from portal.intake.errors import BookingOverError, GateError, IntakeError, MapChangedError
from portal.intake.files import services as song_files
from portal.intake.files.announcing import say_all_sent
from portal.intake.models import Finding
from portal.people.access import require_drummer
from portal.people.requests import MemberRequest


@require_GET
@login_required
def sheet(request: MemberRequest, song_id: int) -> HttpResponse:
    song = find_song(request, song_id)
    require_drummer(request.user)
    return render_sheet(request, song)


def render_sheet(
    request: MemberRequest, song: Song, *, form: OverruleForm | None = None, status: int = HTTPStatus.OK
) -> HttpResponse:
    shown = sheet_page(song)
    context = {
        "sheet": shown,
        "seen": shown.seen,
        "song": song,
        "form": form or overrule_form(shown),
        "taps": tapping_shown(song),
        "next_song": next_after(song, request.user),
        "held": questions.held_message(song),
    }
    return render(request, "intake/sheet.html", context, status=status)


def show_what_changed(
    request: MemberRequest, song: Song, error: MapChangedError, *, form: OverruleForm | None = None
) -> HttpResponse:
    """The sheet as it is now, with whatever figures were sent: the next press is about what it shows."""
    figures = " Your values are under “Set by hand”." if form else ""
    messages.warning(request, f"{error} Check it, then approve again.{figures}")
    return render_sheet(request, song, form=form, status=HTTPStatus.CONFLICT)


@require_POST
@login_required
def approve(request: MemberRequest, song_id: int) -> HttpResponse:
    song = find_song(request, song_id)
    require_drummer(request.user)
    try:
        approved = services.approve(song=song, by=request.user, seen=Seen.by(request.POST))
        messages.success(request, f"The tempo map is approved as measured (version {approved.version}).")
    except MapChangedError as error:
        return show_what_changed(request, song, error)
    except IntakeError as error:
        messages.error(request, str(error))
    return redirect("intake:sheet", song.pk)


@require_POST
@login_required
def overrule(request: MemberRequest, song_id: int) -> HttpResponse:
    song = find_song(request, song_id)
    require_drummer(request.user)
    form = OverruleForm(request.POST)
    if not form.is_valid():
        return render_sheet(request, song, form=form, status=HTTPStatus.UNPROCESSABLE_ENTITY)
    try:
        approved = services.overrule(song=song, by=request.user, seen=Seen.by(request.POST), **form.cleaned_data)
        messages.success(request, f"The tempo map is set by hand (version {approved.version}).")
    except MapChangedError as error:
        return show_what_changed(request, song, error, form=form)
    except IntakeError as error:
        messages.error(request, str(error))
    return redirect("intake:sheet", song.pk)


@require_POST
@login_required
def taps(request: MemberRequest, song_id: int) -> HttpResponse:
    """Taps so far; with htmx the answer is what they say, alone."""
    song = find_song(request, song_id)
    require_drummer(request.user)
    form = TapsForm(request.POST)
    if form.is_valid():
        keep_taps(song=song, by=request.user, **form.cleaned_data)
    elif not request.htmx:
        messages.error(request, "No valid taps received.")
    if request.htmx:
        context = {"song": song, "taps": tapping_shown(song), "seen": Seen.by(request.POST)}
        return render(request, "intake/_tapped.html", context)
    return redirect("intake:sheet", song.pk)


@require_POST
@login_required
def ready(request: MemberRequest, song_id: int) -> HttpResponse:
    song = find_song(request, song_id)
    require_drummer(request.user)
    try:
        services.mark_ready(song=song, by=request.user)
    except GateError as error:
        for reason in error.reasons:
            messages.error(request, reason)
        return redirect("intake:sheet", song.pk)
    messages.success(request, f"“{song.title}” is ready to track.")
    return redirect(song)


@require_POST
@login_required
def check_again(request: MemberRequest, song_id: int) -> HttpResponse:
    song = find_song(request, song_id)
    require_drummer(request.user)
    if song_files.check_again(song.pk):
        awaited = waiting_sentences(say_all_sent(song=song, by=request.user), request.user)
        messages.success(request, " ".join(["The song is being checked again.", *awaited]))
    else:
        is_over = song.booking.is_over
        messages.error(request, str(BookingOverError()) if is_over else "There are no files to check.")
    return redirect("intake:sheet", song.pk)


@require_POST
@login_required
def waive(request: MemberRequest, finding_id: int) -> HttpResponse:
    finding = get_object_or_404(Finding.objects.visible_to(request.user), pk=finding_id)
    require_drummer(request.user)
    form = WaiveForm(request.POST)
    if not form.is_valid():
        messages.error(request, str(form.errors["reason"][0]))
        return redirect("intake:sheet", finding.song_id)
    try:
        services.waive(finding=finding, by=request.user, reason=form.cleaned_data["reason"])
    except IntakeError as error:
        messages.error(request, str(error))
    return redirect("intake:sheet", finding.song_id)

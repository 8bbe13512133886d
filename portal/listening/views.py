"""The page that asks in a listening check, its sound, and the answer."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST, require_safe

from portal.bookings.models import Song
from portal.file_serving import serve
from portal.listening import services
from portal.listening.errors import ListeningError
from portal.listening.forms import AnswerForm, AskForm
from portal.listening.models import Excerpt
from portal.listening.page import excerpt_shown
from portal.people.access import require_drummer
from portal.people.requests import MemberRequest

UNPROCESSABLE = 422


@require_POST
@login_required
def ask(request: MemberRequest, song_id: int) -> HttpResponse:
    song = get_object_or_404(Song.objects.visible_to(request.user), pk=song_id)
    require_drummer(request.user)
    form = AskForm(request.POST)
    if not form.is_valid():
        for errors in form.errors.values():
            messages.error(request, str(errors[0]))
        return redirect("intake:sheet", song.pk)
    try:
        excerpt = services.ask(song=song, by=request.user, **form.cleaned_data)
        bars = f"{excerpt.bars} bars from bar {excerpt.first_bar}"
        messages.success(request, f"{bars} are made playable, then sent to the client.")
    except ListeningError as error:
        messages.error(request, str(error))
    return redirect("intake:sheet", song.pk)


@require_GET
@login_required
def excerpt(request: MemberRequest, excerpt_id: int) -> HttpResponse:
    return page(request, find(request, excerpt_id))


@require_POST
@login_required
def answer(request: MemberRequest, excerpt_id: int) -> HttpResponse:
    asked = find(request, excerpt_id)
    if request.user.is_drummer:
        raise PermissionDenied("A listening check is answered by the client.")
    form = AnswerForm(request.POST)
    if not form.is_valid():
        return page(request, asked, form=form)
    try:
        services.answer(excerpt=asked, by=request.user, **form.cleaned_data)
        messages.success(request, f"Thank you. {asked.asked_by.name} has your answer.")
    except ListeningError as error:
        messages.error(request, str(error))
    return redirect(asked.song)


@require_safe
@login_required
def audio(request: MemberRequest, excerpt_id: int) -> HttpResponseBase:
    asked = find(request, excerpt_id)
    if not asked.key:
        raise Http404("There is nothing to play.")
    return serve(request, key=asked.key, file_name=f"{asked}.flac", inline=True)


def find(request: MemberRequest, excerpt_id: int) -> Excerpt:
    excerpts = Excerpt.objects.visible_to(request.user).select_related("song__booking", "asked_by", "answered_by")
    return get_object_or_404(excerpts, pk=excerpt_id)


def page(request: MemberRequest, asked: Excerpt, *, form: AnswerForm | None = None) -> HttpResponse:
    context = {"shown": excerpt_shown(asked), "song": asked.song, "form": form or AnswerForm()}
    return render(request, "listening/excerpt.html", context, status=UNPROCESSABLE if form else None)

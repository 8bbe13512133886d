"""The queue: looked at in several ways, kept by name, with songs set aside."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from portal.intake.desk import queue_services
from portal.intake.desk.forms import KeepViewForm, LookForm
from portal.intake.desk.queue_filter import Look, Show
from portal.intake.desk.queue_page import queue_page
from portal.intake.desk.song_views import find_song
from portal.intake.errors import IntakeError
from portal.intake.models import KeptView
from portal.people.access import drummer_required, require_drummer
from portal.people.requests import MemberRequest


@require_GET
@login_required
def desk(request: MemberRequest) -> HttpResponse:
    require_drummer(request.user, "The desk is the drummer’s page.")
    template = "intake/_desk.html" if request.htmx else "intake/desk.html"
    return render(request, template, desk_shown(request, look_of(request)) | {"is_part": bool(request.htmx)})


def desk_shown(request: MemberRequest, look: Look) -> dict[str, Any]:
    queue = queue_page(request.user, look, request.GET.get("page"))
    return {
        "queue": queue,
        "rows": queue.rows,
        "whole": queue.whole,
        "yours": queue.counts[Show.YOURS],
        "look": look,
        "form": LookForm(initial=vars(look)),
        "shows": [(show, count, look.shows(show)) for show, count in queue.counts.items()],
        "kept_views": [(kept, look_kept(kept)) for kept in request.user.kept_views.all()],
    }


def look_kept(kept: KeptView) -> Look:
    return Look(Show(kept.show), kept.words, kept.stage, kept.due)


def look_of(request: MemberRequest) -> Look:
    """What nobody can have meant is the whole queue."""
    form = LookForm(request.GET)
    form.is_valid()
    return form.look


@require_POST
@drummer_required
def keep_view(request: MemberRequest) -> HttpResponse:
    form = KeepViewForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Enter a name of up to 40 characters.")
        return redirect("intake:desk")
    look = form.look
    kept = queue_services.keep_view(owner=request.user, name=form.cleaned_data["name"], look=look)
    messages.success(request, f"The view “{kept.name}” is saved.")
    return redirect(f"{reverse('intake:desk')}?{look.query}")


@require_POST
@drummer_required
def drop_view(request: MemberRequest, view_id: int) -> HttpResponse:
    queue_services.drop_view(get_object_or_404(request.user.kept_views, pk=view_id))
    return redirect("intake:desk")


@require_POST
@login_required
def set_aside(request: MemberRequest, song_id: int) -> HttpResponse:
    song = find_song(request, song_id)
    require_drummer(request.user)
    try:
        queue_services.set_aside(song=song, by=request.user)
    except IntakeError as error:
        messages.error(request, str(error))
        return redirect("intake:sheet", song.pk)
    messages.success(request, f"“{song.title}” is set aside: it is now at the end of the queue.")
    return redirect("intake:desk")


@require_POST
@login_required
def take_up(request: MemberRequest, song_id: int) -> HttpResponse:
    song = find_song(request, song_id)
    require_drummer(request.user)
    queue_services.take_up(song=song, by=request.user)
    return redirect("intake:sheet", song.pk)

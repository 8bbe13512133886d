"""The page at the kit: the page itself, what it plays, and what it sends."""

from __future__ import annotations

from pathlib import Path
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.http import require_GET, require_POST

from portal.bookings.models import Song
from portal.kit import services
from portal.kit.errors import KitError
from portal.kit.forms import ChangeTakeForm, HandTakeForm, changed_at_in, json_of, takes_in
from portal.kit.levels import clean_levels
from portal.kit.models import TakeLog
from portal.kit.page import kit_page
from portal.lanes.page import word_on_sections
from portal.people.access import require_drummer
from portal.people.requests import MemberRequest

UNPROCESSABLE = 422
WORKER = Path(settings.BASE_DIR, "portal", "static", "js", "kit", "worker.js")
# Kept by the page itself where it may be read without a network, never by a browser's cache or a proxy.
NOT_KEPT = "private, no-store"


@require_GET
@login_required
@ensure_csrf_cookie
def page(request: MemberRequest, song_id: int) -> HttpResponse:
    song = _song(request, song_id)
    response = render(request, "kit/page.html", {"song": song, "word": word_on_sections(song)})
    response.headers["Cache-Control"] = NOT_KEPT
    return response


@require_GET
@login_required
def song_json(request: MemberRequest, song_id: int) -> JsonResponse:
    """With a fresh token for what the page sends: the kept page's own may be of an earlier sign-in."""
    song = _song(request, song_id)
    headers = {"Cache-Control": NOT_KEPT, "X-CSRFToken": get_token(request)}
    return JsonResponse(kit_page(song, request.user), headers=headers)


@require_POST
@login_required
def takes(request: MemberRequest, song_id: int) -> JsonResponse:
    song = _song(request, song_id)
    try:
        services.log_takes(song=song, takes=takes_in(json_of(request.body)), by=request.user)
    except KitError as error:
        return JsonResponse({"sentence": str(error)}, status=UNPROCESSABLE)
    return JsonResponse({"takes": kit_page(song, request.user)["takes"]})


@require_POST
@login_required
def log_take(request: MemberRequest, song_id: int) -> HttpResponse:
    """A take by hand, from the song's page."""
    song, form = _song(request, song_id), HandTakeForm(request.POST)
    if not form.is_valid():
        messages.error(request, _said_by(form))
        return _to_log(song)
    try:
        take = services.log_by_hand(song=song, by=request.user, **form.cleaned_data)
        messages.success(request, f"Take {take.number} is logged.")
    except KitError as error:
        messages.error(request, str(error))
    return _to_log(song)


@require_POST
@login_required
def change_take(request: MemberRequest, take_id: UUID) -> HttpResponse:
    take = get_object_or_404(TakeLog.objects.filter(song__in=Song.objects.visible_to(request.user)), pk=take_id)
    require_drummer(request.user, "The log of takes is the drummer’s.")
    form = ChangeTakeForm(request.POST)
    if not form.is_valid():
        messages.error(request, _said_by(form))
        return _to_log(take.song)
    try:
        services.change_by_hand(take=take, by=request.user, **form.cleaned_data)
    except KitError as error:
        messages.error(request, str(error))
    return _to_log(take.song)


@require_POST
@login_required
def balance(request: MemberRequest, song_id: int) -> JsonResponse:
    song = _song(request, song_id)
    lane_ids = song.sources.current().values_list("pk", flat=True)
    try:
        sent = json_of(request.body)
        levels = clean_levels(sent.get("levels"), lane_ids=lane_ids)
        services.set_balance(song=song, levels=levels, changed_at=changed_at_in(sent), by=request.user)
    except KitError as error:
        return JsonResponse({"sentence": str(error)}, status=UNPROCESSABLE)
    return JsonResponse({"levels": levels})


@require_GET
def worker(request: HttpRequest) -> HttpResponse:  # noqa: ARG001
    """The script that opens kit pages without a network. Its address bounds it: it reaches no page outside /kit/."""
    return HttpResponse(
        WORKER.read_bytes(), content_type="text/javascript; charset=utf-8", headers={"Cache-Control": "no-cache"}
    )


def _said_by(form: HandTakeForm) -> str:
    """The first thing that is wrong, with its field."""
    name, errors = next(iter(form.errors.items()))
    return f"{form.fields[name].label or name}: {errors[0]}"


def _to_log(song: Song) -> HttpResponse:
    return redirect(f"{song.get_absolute_url()}#takes")


def _song(request: MemberRequest, song_id: int) -> Song:
    song = get_object_or_404(Song.objects.visible_to(request.user).select_related("booking"), pk=song_id)
    require_drummer(request.user, "The page at the kit is the drummer’s.")
    return song

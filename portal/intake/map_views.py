"""The page on which a tempo map is made by hand."""

from __future__ import annotations

import json

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from portal.intake import services
from portal.intake.errors import IntakeError, MapInputError
from portal.intake.map_desk import anchors_from, picture_source, seen_on, start_of
from portal.intake.views import find_song
from portal.people.access import require_drummer
from portal.people.requests import MemberRequest

UNPROCESSABLE = 422


@require_GET
@login_required
def tempo_map(request: MemberRequest, song_id: int) -> HttpResponse:
    song = find_song(request, song_id)
    require_drummer(request.user)
    start = start_of(song)
    anchors, found = anchors_from(start)
    context = {
        "song": song,
        "start": start,
        "seen": seen_on(song, anchors, found),
        "main": picture_source(song),
        "versions": song.maps.select_related("approved_by")[:12],
    }
    return render(request, "intake/map.html", context)


@require_POST
@login_required
def try_map(request: MemberRequest, song_id: int) -> HttpResponse:
    """What the map on the page would be; nothing is kept."""
    song = find_song(request, song_id)
    require_drummer(request.user)
    try:
        anchors, found = anchors_from(json.loads(request.body))
    except (MapInputError, ValueError) as error:
        sentence = str(error) if isinstance(error, MapInputError) else "This makes no map."
        return JsonResponse({"error": sentence}, status=UNPROCESSABLE)
    return JsonResponse(seen_on(song, anchors, found))


@require_POST
@login_required
def keep_map(request: MemberRequest, song_id: int) -> HttpResponse:
    song = find_song(request, song_id)
    require_drummer(request.user)
    try:
        _, found = anchors_from(json.loads(request.POST.get("map", "")))
        approved = services.approve_map(
            song=song, by=request.user, found=found, note=request.POST.get("note", "")[:300]
        )
    except IntakeError as error:
        messages.error(request, str(error))
        return redirect("intake:map", song.pk)
    except ValueError:
        messages.error(request, "This makes no map.")
        return redirect("intake:map", song.pk)
    messages.success(request, f"The tempo map is approved (version {approved.version}).")
    return redirect("intake:sheet", song.pk)

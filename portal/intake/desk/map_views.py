"""The page on which a tempo map is made by hand."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_POST

from portal.bookings.models import Song
from portal.clean_text import read_json
from portal.intake.checks import services
from portal.intake.checks.page_version import Seen
from portal.intake.desk.song_views import find_song
from portal.intake.errors import IntakeError, MapChangedError, MapInputError
from portal.intake.maps.page import anchors_from, picture_source, seen_on, start_of
from portal.intake.models.checks import MOST_COUNT_IN_BARS
from portal.people.access import require_drummer
from portal.people.requests import MemberRequest


@require_GET
@login_required
def tempo_map(request: MemberRequest, song_id: int) -> HttpResponse:
    song = find_song(request, song_id)
    require_drummer(request.user)
    return show_map(request, song, start_of(song, request.GET.get("from", "")))


def show_map(
    request: MemberRequest,
    song: Song,
    start: dict[str, Any] | None = None,
    *,
    note: str = "",
    count_in: str | None = None,
    status: int = HTTPStatus.OK,
) -> HttpResponse:
    """`start` and `count_in` as they were sent, where they were refused."""
    # Before all that is shown: whatever comes meanwhile was not seen.
    check, newest = song.checks.done().first(), song.maps.first()
    start = start or start_of(song)
    anchors, found = anchors_from(start)
    context = {
        "song": song,
        "start": start,
        "seen_here": Seen.of(check, newest),
        "note": note,
        "count_in_bars": newest.count_in_bars if newest and count_in is None else count_in,
        "is_conflict": status == HTTPStatus.CONFLICT,
        "most_count_in_bars": MOST_COUNT_IN_BARS,
        "seen": seen_on(song, anchors, found),
        "main": picture_source(song),
        "versions": song.maps.select_related("approved_by")[:12],
    }
    return render(request, "intake/map.html", context, status=status)


@require_POST
@login_required
def try_map(request: MemberRequest, song_id: int) -> HttpResponse:
    """What the map on the page would be; nothing is kept."""
    song = find_song(request, song_id)
    require_drummer(request.user)
    try:
        anchors, found = anchors_from(read_json(request.body))
    except (MapInputError, ValueError, RecursionError) as error:
        sentence = str(error) if isinstance(error, MapInputError) else "Not a valid tempo map."
        return JsonResponse({"error": sentence}, status=HTTPStatus.UNPROCESSABLE_ENTITY)
    return JsonResponse(seen_on(song, anchors, found))


@require_POST
@login_required
def keep_map(request: MemberRequest, song_id: int) -> HttpResponse:
    song = find_song(request, song_id)
    require_drummer(request.user)
    note = request.POST.get("note", "")[:300]
    try:
        made = read_json(request.POST.get("map", ""))
        _, found = anchors_from(made)
        approved = services.approve_map(
            song=song,
            by=request.user,
            found=found,
            note=note,
            count_in_bars=whole_number(request, "count-in", most=MOST_COUNT_IN_BARS),
            seen=Seen.by(request.POST),
        )
    except MapChangedError as error:
        messages.warning(request, f"{error} Your map is below: approve it again if it is still right.")
        count_in = request.POST.get("count-in", "")
        return show_map(request, song, made, note=note, count_in=count_in, status=HTTPStatus.CONFLICT)
    except IntakeError as error:
        messages.error(request, str(error))
        return redirect("intake:map", song.pk)
    except (ValueError, RecursionError):
        messages.error(request, "Not a valid tempo map.")
        return redirect("intake:map", song.pk)
    messages.success(request, f"The tempo map is approved (version {approved.version}).")
    return redirect("intake:sheet", song.pk)


def whole_number(request: MemberRequest, name: str, *, most: int) -> int | None:
    """None where nothing is written; `MapInputError` for what is none, or too much."""
    text = request.POST.get(name, "").strip()
    if not text:
        return None
    if not (text.isascii() and text.isdecimal()) or len(text) > 5 or int(text) > most:
        raise MapInputError(f"Enter a whole number up to {most}.")
    return int(text)

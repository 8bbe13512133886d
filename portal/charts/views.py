"""The page of a song's chart: its draft, its editor, its versions and its files."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse, HttpResponseBase, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from analysis.chart import LEVELS, read_chart
from analysis.core import ChartError
from portal.bookings.models import Song
from portal.charts import services
from portal.charts.errors import ChartingError, NewerChartError
from portal.charts.forms import MusicXmlForm
from portal.charts.models import ChartFile, ChartVersion
from portal.charts.moving import newest_version
from portal.charts.page import chart_page, seen_of
from portal.file_serving import serve
from portal.people.access import require_drummer
from portal.people.requests import MemberRequest

CONFLICT, UNPROCESSABLE = 409, 422
# All of a chart's voices: those of most grooves first.
DRUMS = (
    "kick", "snare", "hat", "open hat", "hat foot", "ride", "crash", "side stick", "high tom", "low tom", "floor tom",
)  # fmt: skip


@require_safe
@login_required
def chart(request: MemberRequest, song_id: int) -> HttpResponse:
    song = _visible(request, song_id)
    page = chart_page(song, request.user)
    if not request.user.is_drummer:
        return render(request, "charts/shared.html", {"song": song, "page": page})
    found: dict[str, Any] = {"song": song, "page": page, "levels": LEVELS, "voices": DRUMS}
    found["musicxml_form"] = MusicXmlForm()
    if page.version:
        found |= {"start": page.version.chart, "seen": seen_of(song, read_chart(page.version.chart), page.version)}
    return render(request, "charts/chart.html", found)


@require_safe
@login_required
def pages(request: MemberRequest, song_id: int) -> HttpResponse:
    """The engraved pages of the newest version, for a page that waits for them."""
    song = _visible(request, song_id)
    page = chart_page(song, request.user)
    brings_versions = request.user.is_drummer and not page.is_working  # a version's PDF is among them
    return render(request, "charts/_pages.html", {"song": song, "page": page, "brings_versions": brings_versions})


@require_POST
@login_required
def draft(request: MemberRequest, song_id: int) -> HttpResponse:
    song = _drummers(request, song_id)
    try:
        services.ask_draft(song=song, by=request.user)
    except ChartingError as error:
        messages.error(request, str(error))
    return redirect("charts:chart", song.pk)


@require_POST
@login_required
def take_musicxml(request: MemberRequest, song_id: int) -> HttpResponse:
    song = _drummers(request, song_id)
    form = MusicXmlForm(request.POST, request.FILES)
    if not form.is_valid():
        messages.error(request, "Choose a MusicXML file that is not empty, then send it.")
        return redirect("charts:chart", song.pk)
    sent = form.cleaned_data["file"]
    with tempfile.NamedTemporaryFile(prefix="kitpost-") as kept:
        for piece in sent.chunks():
            kept.write(piece)
        kept.flush()
        try:
            version = services.take_musicxml(song=song, path=Path(kept.name), name=sent.name, by=request.user)
            messages.success(request, f"“{sent.name}” is version {version.number} of the chart.")
        except ChartingError as error:
            messages.error(request, str(error))
    return redirect("charts:chart", song.pk)


@require_POST
@login_required
def look_at(request: MemberRequest, song_id: int) -> JsonResponse:
    """What is to be said of a chart that is not saved."""
    song = _drummers(request, song_id)
    try:
        read = read_chart(_sent(request).get("chart"))
    except (ChartError, ChartingError) as error:
        return JsonResponse({"error": f"This is no chart that can be saved: {error}."})
    return JsonResponse(seen_of(song, read, newest_version(song)))


@require_POST
@login_required
def save(request: MemberRequest, song_id: int) -> JsonResponse:
    song = _drummers(request, song_id)
    try:
        sent = _sent(request)
        version = services.save(
            song=song,
            chart=sent.get("chart"),
            seen=_whole(sent.get("seen")),
            note=str(sent.get("note") or ""),
            by=request.user,
        )
    except NewerChartError as error:
        newest = song.chart_versions.first()
        return JsonResponse({"error": str(error), "newest": newest.number if newest else 0}, status=CONFLICT)
    except ChartingError as error:
        return JsonResponse({"error": str(error)}, status=UNPROCESSABLE)
    return JsonResponse({"number": version.number})


@require_POST
@login_required
def share(request: MemberRequest, version_id: int) -> HttpResponse:
    version = _version(request, version_id)
    try:
        services.share(version=version, on=request.POST.get("share") == "yes", by=request.user)
        said = "The client can see it now." if version.shared_at else "The client no longer sees it."
        messages.success(request, f"Version {version.number}: {said}")
    except ChartingError as error:
        messages.error(request, str(error))
    return redirect("charts:chart", version.song_id)


@require_POST
@login_required
def restore(request: MemberRequest, version_id: int) -> HttpResponse:
    version = _version(request, version_id)
    try:
        newest = services.restore(version=version, by=request.user)
        messages.success(request, f"Version {version.number} counts again, as version {newest.number}.")
    except ChartingError as error:
        messages.error(request, str(error))
    return redirect("charts:chart", version.song_id)


@require_safe
@login_required
def file(request: MemberRequest, chart_file_id: int) -> HttpResponseBase:
    found = get_object_or_404(ChartFile.objects.visible_to(request.user), pk=chart_file_id)
    return serve(request, key=found.key, file_name=found.name)


def _sent(request: MemberRequest) -> dict[str, Any]:
    try:
        sent = json.loads(request.body)
    except (ValueError, RecursionError) as error:
        raise ChartingError("what was sent is not JSON") from error
    if not isinstance(sent, dict):
        raise ChartingError("what was sent is not a JSON object")
    return sent


def _whole(value: Any) -> int:
    return value if isinstance(value, int) and not isinstance(value, bool) else -1


def _visible(request: MemberRequest, song_id: int) -> Song:
    return get_object_or_404(Song.objects.visible_to(request.user).select_related("booking"), pk=song_id)


def _drummers(request: MemberRequest, song_id: int) -> Song:
    song = _visible(request, song_id)
    require_drummer(request.user)
    return song


def _version(request: MemberRequest, version_id: int) -> ChartVersion:
    versions = ChartVersion.objects.visible_to(request.user).select_related("song__booking")
    version = get_object_or_404(versions, pk=version_id)
    require_drummer(request.user)
    return version

"""The score's answers: what to draw, the pictures, and the sound in parts."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_GET

from analysis import ENGINE_VERSION
from portal.file_serving import tag_of
from portal.intake.desk.song_views import find_song
from portal.intake.files.stored_features import load_features
from portal.intake.models import SourceFile
from portal.lanes.clicks import ClickForm, click_bytes
from portal.lanes.models import PlayCopy
from portal.lanes.page import lanes_page, playing_of
from portal.lanes.sound import Part, extremes_of, onsets_of, small, words_of
from portal.people.access import require_drummer
from portal.people.requests import MemberRequest

# What a key names never changes; who may read it is asked again after this time.
KEPT = "private, max-age=3600"


@require_GET
@login_required
def lanes(request: MemberRequest, song_id: int) -> JsonResponse:
    song = find_song(request, song_id)
    require_drummer(request.user)
    return JsonResponse(lanes_page(song), headers={"Cache-Control": "private, no-cache"})


@require_GET
@login_required
def playing(request: MemberRequest, song_id: int) -> JsonResponse:
    """How late the playing is, bar by bar: the page asks after its first picture."""
    song = find_song(request, song_id)
    require_drummer(request.user)
    return JsonResponse(playing_of(song), headers={"Cache-Control": "private, no-cache"})


@require_GET
@login_required
def pyramid(request: MemberRequest, source_id: int) -> HttpResponse:
    """The whole file: pairs of lowest and highest, each a signed byte."""
    source = get_object_or_404(SourceFile.objects.visible_to(request.user), pk=source_id)
    require_drummer(request.user)
    if not source.features_key:
        raise Http404("There is nothing to draw.")
    return answer(request, tag_of(source.features_key), lambda: small(load_features(source).pyramid).tobytes())


@require_GET
@login_required
def onsets(request: MemberRequest, source_id: int) -> HttpResponse:
    """Where sounds of the file begin, as measured."""
    source = get_object_or_404(SourceFile.objects.visible_to(request.user), pk=source_id)
    require_drummer(request.user)
    if not source.features_key:
        raise Http404("Nothing was measured.")
    return answer(request, tag_of(source.features_key, "onsets"), lambda: onsets_of(source))


@require_GET
@login_required
def sound(request: MemberRequest, source_id: int) -> HttpResponse:
    """?start=FRAME&frames=N: 16-bit words, little-endian, channels interleaved (`X-Channels`); with &mono one channel;
    with &points=N lowest and highest instead, as in the pyramid."""
    source = get_object_or_404(SourceFile.objects.visible_to(request.user), pk=source_id)
    require_drummer(request.user)
    copy = PlayCopy.objects.filter(source=source, state=PlayCopy.State.MADE).first()
    if copy is None:
        raise Http404("There is no copy to play from yet.")
    part = Part.of(copy, start=number(request, "start"), frames=number(request, "frames"))
    points, mono = number(request, "points"), "mono" in request.GET
    tag = tag_of(copy.key, str(part), str(points), str(mono))

    def content() -> bytes:
        words = words_of(copy, part, mono=mono)
        return extremes_of(words, points).tobytes() if points else words.astype("<i2").tobytes()

    response = answer(request, tag, content)
    response.headers["X-Channels"] = "1" if mono or copy.channels > 2 else str(copy.channels)
    return response


@require_GET
@login_required
def click(request: MemberRequest) -> HttpResponse:
    """?sound=NAME&peak=DBFS&rate=HZ: what a click is played with."""
    require_drummer(request.user)
    form = ClickForm(request.GET)
    if not form.is_valid():
        raise Http404("There is no such click.")
    style, rate_hz = form.style, form.rate_hz
    tag = tag_of(ENGINE_VERSION, style.sound, str(style.peak_dbfs), str(rate_hz))
    return answer(request, tag, lambda: click_bytes(style, rate_hz))


def number(request: MemberRequest, name: str) -> int:
    text = request.GET.get(name, "0")
    return int(text) if text.isdecimal() and len(text) < 16 else 0


def answer(request: MemberRequest, tag: str, content: Callable[[], bytes]) -> HttpResponse:
    if request.headers.get("If-None-Match") == tag:
        response = HttpResponse(status=304)
    else:
        response = HttpResponse(content(), content_type="application/octet-stream")
    response.headers["ETag"], response.headers["Cache-Control"] = tag, KEPT
    return response

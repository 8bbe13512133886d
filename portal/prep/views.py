"""Prepared files, session packs, and the choices they are made with."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from portal.bookings.models import Song
from portal.file_serving import content_disposition, send_bytes, serve
from portal.people.access import drummer_required, require_drummer
from portal.people.requests import MemberRequest, status_of
from portal.prep import services
from portal.prep.choices import song_prep
from portal.prep.errors import PrepError
from portal.prep.forms import HousePrepForm, SongPrepForm, preview
from portal.prep.models import HousePrep, PreparedFile, SessionPack
from portal.prep.pack_zip import folder_of, zip_of


@require_safe
@login_required
def file(request: MemberRequest, prepared_id: int) -> HttpResponseBase:
    prepared = get_object_or_404(PreparedFile.objects.visible_to(request.user), pk=prepared_id)
    return serve(request, key=prepared.key, file_name=prepared.name)


@require_POST
@login_required
def make_pack(request: MemberRequest, song_id: int) -> HttpResponse:
    song = _find(request, song_id)
    try:
        services.ask_pack(song=song, by=request.user)
    except PrepError as error:
        messages.error(request, str(error))
    return _back_to(song)


@require_safe
@login_required
def download_pack(request: MemberRequest, pack_id: int) -> HttpResponseBase:
    """The whole pack; a broken download goes on where it stopped."""
    packs = SessionPack.objects.visible_to(request.user).select_related("song", "approved_map")
    pack = get_object_or_404(packs, pk=pack_id)
    made = zip_of(pack)
    if made is None:
        raise Http404("This session pack is not made, or was cleared away.")
    archive, etag = made
    return send_bytes(
        request,
        read=archive.read,
        length_bytes=archive.length_bytes,
        etag=etag,
        content_type="application/zip",
        disposition=content_disposition(f"{folder_of(pack)}.zip"),
    )


@require_http_methods(["GET", "POST"])
@login_required
def choose(request: MemberRequest, song_id: int) -> HttpResponse:
    """What this song has otherwise than the house."""
    song = _find(request, song_id)
    try:
        services.check_click_changes(song)
    except PrepError as error:
        messages.error(request, str(error))
        return _back_to(song)
    form = SongPrepForm(request.POST or None, instance=song_prep(song), house=HousePrep.get())
    if request.method == "POST" and form.is_valid():
        services.choose(choices=form.save(commit=False))
        messages.success(request, "Saved. The click is made anew.")
        return _back_to(song)
    return render(request, "prep/choices.html", {"song": song, "form": form}, status=status_of(form))


@require_POST
@login_required
def make_click(request: MemberRequest, song_id: int) -> HttpResponse:
    song = _find(request, song_id)
    approved = song.maps.first()
    if approved is None:
        messages.error(request, "There is no approved tempo map yet: approve one first.")
        return _back_to(song)
    try:
        services.make_click_anew(approved)
    except PrepError as error:
        messages.error(request, str(error))
    return _back_to(song)


@require_http_methods(["GET", "POST"])
@drummer_required
def house(request: MemberRequest) -> HttpResponse:
    form = HousePrepForm(request.POST or None, instance=HousePrep.get())
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Saved.")
        return redirect("prep:house")
    names = preview(str(form["name_template"].value() or ""))
    return render(request, "prep/house.html", {"form": form, "names": names}, status=status_of(form))


def _find(request: MemberRequest, song_id: int) -> Song:
    song = get_object_or_404(Song.objects.visible_to(request.user).select_related("booking"), pk=song_id)
    require_drummer(request.user)
    return song


def _back_to(song: Song) -> HttpResponse:
    return redirect(f"{song.get_absolute_url()}#prep")

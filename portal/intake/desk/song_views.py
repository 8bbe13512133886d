"""Files of a song on both sides' pages, and the client's answers. The drummer's desk and sheet are in desk_views."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from http import HTTPStatus

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpResponse, HttpResponseBadRequest
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST

from portal.bookings.models import Song
from portal.intake.desk.files_page import files_page
from portal.intake.desk.forms import AnnounceForm
from portal.intake.desk.waiting_words import waiting_sentences
from portal.intake.errors import BookingOverError, IntakeError
from portal.intake.files import services as song_files
from portal.intake.files.announcing import announce as announce_files
from portal.intake.files.announcing import say_all_sent
from portal.intake.files.leftovers import leftovers_among
from portal.intake.models import SourceFile
from portal.intake.models.arrival import TAB_LENGTH
from portal.people.requests import MemberRequest
from portal.uploads.door import may_bring_files
from portal.uploads.errors import UploadRefusedError
from portal.uploads.services import take_whole

THANKS = "Thank you. The song is checked as soon as all is here."

# Heard by the other parts of a page, which then load themselves again.
SONG_CHANGED = "song-changed"


def find_song(request: MemberRequest, song_id: int) -> Song:
    return get_object_or_404(Song.objects.visible_to(request.user).select_related("booking"), pk=song_id)


def find_source(request: MemberRequest, source_id: int) -> SourceFile:
    sources = SourceFile.objects.visible_to(request.user).select_related("song__booking")
    return get_object_or_404(sources, pk=source_id)


@require_GET
@login_required
def files(request: MemberRequest, song_id: int) -> HttpResponse:
    """The part by itself; the whole page for a browser that follows the link."""
    song = find_song(request, song_id)
    if not request.htmx:
        return redirect(f"{song.get_absolute_url()}#files")
    response = render(request, "intake/_file_list.html", {"list": files_page(song, request.user), "song": song})
    if request.GET.get("seen") != song.stage:
        response.headers["HX-Trigger"] = SONG_CHANGED
    return response


@may_bring_files
@require_POST
@login_required
def plain_upload(request: MemberRequest, song_id: int) -> HttpResponse:
    """Files that came with a plain form, one by one: one that is refused does not hold up the others."""
    song = find_song(request, song_id)
    sent = request.FILES.getlist("file")
    if not sent:
        messages.error(request, "Choose a file first, then press “Send”.")
    is_left_out = leftovers_among([(one.name or "", one.size or 0) for one in sent])
    for uploaded_file in (one for one, is_out in zip(sent, is_left_out, strict=True) if is_out):
        messages.info(request, f"“{uploaded_file.name}” is left out: it holds system or program data.")
    kept = [one for one, is_out in zip(sent, is_left_out, strict=True) if not is_out]
    tab = f"form-{uuid.uuid4().hex}"[:TAB_LENGTH]
    announce_files(song=song, by=request.user, tab=tab, files=len(kept))
    for uploaded_file in kept:
        try:
            upload = take_whole(user=request.user, purpose="source", target_id=song.pk, uploaded_file=uploaded_file)
            what = "unpacked" if upload.file_name.lower().endswith(".zip") else "measured"
            messages.success(request, f"“{upload.file_name}” is received. It is being {what}.")
        except UploadRefusedError as error:
            messages.error(request, error.sentence)
    announce_files(song=song, by=request.user, tab=tab, files=0)
    return redirect(f"{song.get_absolute_url()}#files")


@require_POST
@login_required
def announce(request: MemberRequest, song_id: int) -> HttpResponse:
    """What a page's script says again and again while it sends."""
    song = find_song(request, song_id)
    form = AnnounceForm(request.POST)
    if not form.is_valid():
        return HttpResponseBadRequest("This says no number of files.")
    announce_files(song=song, by=request.user, tab=form.cleaned_data["tab"], files=form.cleaned_data["count"])
    return HttpResponse(status=HTTPStatus.NO_CONTENT)


@require_POST
@login_required
def all_sent(request: MemberRequest, song_id: int) -> HttpResponse:
    song = find_song(request, song_id)
    try:
        awaited = waiting_sentences(say_all_sent(song=song, by=request.user), request.user)
    except BookingOverError as error:
        level, said = messages.ERROR, str(error)
    else:
        level, said = messages.SUCCESS, " ".join([THANKS, *awaited])
    if request.htmx:
        return render(request, "intake/_file_list.html", {"list": files_page(song, request.user), "song": song})
    messages.add_message(request, level, said)
    return redirect(f"{song.get_absolute_url()}#files")


@require_POST
@login_required
def no_click(request: MemberRequest, source_id: int) -> HttpResponse:
    done = "“{source.name}” is taken for music. The song is measured again."
    return change_source(request, source_id, song_files.say_no_click, done=done)


@require_POST
@login_required
def remove(request: MemberRequest, source_id: int) -> HttpResponse:
    return change_source(request, source_id, song_files.remove, done="“{source.name}” is removed. You can restore it.")


def change_source(request: MemberRequest, source_id: int, change: Callable[..., object], *, done: str) -> HttpResponse:
    """Change a file of a song, and say what was done to it, or why nothing was."""
    source = find_source(request, source_id)
    try:
        change(source=source, by=request.user)
        messages.success(request, done.format(source=source))
    except IntakeError as error:
        messages.error(request, str(error))
    return redirect(f"{source.song.get_absolute_url()}#files")

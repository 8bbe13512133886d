"""Rough mixes on a song's page: sent by the drummer, heard and decided by the client."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_GET, require_POST, require_safe

from portal.bookings.models import Song
from portal.file_serving import serve
from portal.people.access import require_drummer
from portal.people.requests import MemberRequest
from portal.takes import services
from portal.takes.errors import TakesError
from portal.takes.forms import DecisionForm, SendForm, UploadForm
from portal.takes.models import RoughMix
from portal.takes.page import takes_page
from portal.takes.rounds import rounds_of
from portal.uploads.door import may_bring_files
from portal.uploads.errors import UploadRefusedError
from portal.uploads.services import take_whole

UNPROCESSABLE = 422


@require_POST
@login_required
def track(request: MemberRequest, song_id: int) -> HttpResponse:
    song = get_object_or_404(Song.objects.visible_to(request.user), pk=song_id)
    require_drummer(request.user)
    try:
        services.start_tracking(song=song, by=request.user)
    except TakesError as error:
        messages.error(request, str(error))
    return _to_part(song)


@require_GET
@login_required
def rough_mixes(request: MemberRequest, song_id: int) -> HttpResponse:
    """The mixes by themselves, when one arrives or is being measured; the song's page for whoever follows the link."""
    song = get_object_or_404(Song.objects.visible_to(request.user).select_related("booking"), pk=song_id)
    if not request.htmx:
        return _to_part(song)
    return render(request, "takes/_mixes.html", {"page": takes_page(song, request.user)})


@may_bring_files
@require_POST
@login_required
def upload(request: MemberRequest, song_id: int) -> HttpResponse:
    """A rough mix by plain form."""
    song = get_object_or_404(Song.objects.visible_to(request.user), pk=song_id)
    require_drummer(request.user)
    form = UploadForm(request.POST, request.FILES, song=song)
    if not form.is_valid():
        messages.error(request, "Choose a file that is not empty, and what it is of, then send it.")
        return _to_part(song)
    try:
        said = {name: form.cleaned_data[name] for name in ("take", "holds", "begins") if form.cleaned_data[name]}
        file = form.cleaned_data["file"]
        take_whole(user=request.user, purpose="rough-mix", target_id=song.pk, uploaded_file=file, said=said)
        messages.success(request, "The rough mix is uploaded and is being measured.")
    except UploadRefusedError as error:
        messages.error(request, error.sentence)
    return _to_part(song)


@require_POST
@login_required
def send(request: MemberRequest, rough_mix_id: int) -> HttpResponse:
    rough_mix = _find(request, rough_mix_id)
    require_drummer(request.user)
    form = SendForm(request.POST, song=rough_mix.song, of=rough_mix)
    if not form.is_valid():
        return _page(request, rough_mix, send_form=form)
    try:
        note = form.cleaned_data["note"]
        services.send_rough_mix(rough_mix=rough_mix, note=note, about=form.about, by=request.user)
        messages.success(request, f"Rough mix {rough_mix.number} is sent.")
    except TakesError as error:
        messages.error(request, str(error))
    return _to_part(rough_mix.song)


@require_POST
@login_required
def decide(request: MemberRequest, rough_mix_id: int) -> HttpResponse:
    rough_mix = _find(request, rough_mix_id)
    if request.user.is_drummer:
        raise PermissionDenied("A rough mix is accepted by the client.")
    notes = services.waiting_notes(rough_mix.song).count()
    form = DecisionForm(request.POST, rounds=rounds_of(rough_mix.song), notes=notes)
    if not form.is_valid():
        return _page(request, rough_mix, decision_form=form)
    try:
        if form.cleaned_data["decision"] == DecisionForm.ACCEPT:
            services.accept_rough_mix(rough_mix=rough_mix, by=request.user)
            messages.success(request, "You have accepted the rough mix. The full files come next.")
        else:
            words, seen, is_further = (form.cleaned_data[name] for name in ("words", "rounds_seen", "further"))
            services.ask_for_change(rough_mix=rough_mix, words=words, seen=seen, is_further=is_further, by=request.user)
            messages.success(request, "The drummer has your message.")
    except TakesError as error:
        messages.error(request, str(error))
    return _to_part(rough_mix.song)


@require_safe
@login_required
def audio(request: MemberRequest, rough_mix_id: int) -> HttpResponseBase:
    """The copy that a browser plays."""
    rough_mix = _find(request, rough_mix_id)
    if not rough_mix.proxy_key:
        raise Http404("There is nothing to play.")
    name = f"{rough_mix.song.title} rough mix {rough_mix.number}.flac"
    return serve(request, key=rough_mix.proxy_key, file_name=name, inline=True)


def _find(request: MemberRequest, rough_mix_id: int) -> RoughMix:
    mixes = RoughMix.objects.visible_to(request.user).select_related("song__booking", "take")
    return get_object_or_404(mixes, pk=rough_mix_id)


def _page(
    request: MemberRequest,
    rough_mix: RoughMix,
    *,
    send_form: SendForm | None = None,
    decision_form: DecisionForm | None = None,
) -> HttpResponse:
    """The part on a page of its own, with what was typed and what is wrong with it."""
    page = takes_page(rough_mix.song, request.user, send_form=send_form, decision_form=decision_form)
    return render(request, "takes/rough_mixes.html", {"page": page}, status=UNPROCESSABLE)


def _to_part(song: Song) -> HttpResponse:
    return redirect(f"{song.get_absolute_url()}#rough-mixes")

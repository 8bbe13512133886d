"""Listening to takes, and the notes at their bars."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from portal.bookings.models import Song
from portal.file_serving import tag_of
from portal.lanes.sound import MOST_CHANNELS, Playable, words_after
from portal.lanes.views import answer as answer_with
from portal.lanes.views import number
from portal.people.requests import MemberRequest
from portal.takes import note_services
from portal.takes.errors import TakesError
from portal.takes.listen_page import MixCopy, listen_page
from portal.takes.models import BarNote, MusicCopy, RoughMix
from portal.takes.note_forms import AnswerForm, NoteForm
from portal.takes.notes_page import notes_page


@require_GET
@login_required
def listen(request: MemberRequest, song_id: int) -> HttpResponse:
    """Takes over the client's music, with the notes; the part that holds the players alone while the music is made."""
    song = _song(request, song_id)
    page = listen_page(song, request.user, is_opened=not request.htmx)
    return render(request, "takes/listen.html", {"page": page})


@require_GET
@login_required
def sound(request: MemberRequest, rough_mix_id: int) -> HttpResponse:
    """?start=FRAME&frames=N&lead=N: 16-bit words of a rough mix on the page's time (`words_after`)."""
    mix = get_object_or_404(RoughMix.objects.visible_to(request.user), pk=rough_mix_id)
    if not (mix.proxy_key and mix.report):
        raise Http404("There is nothing to play.")
    return _words(request, MixCopy.of(mix))


@require_GET
@login_required
def music(request: MemberRequest, song_id: int) -> HttpResponse:
    """The same of the song's music."""
    copy = MusicCopy.objects.filter(song=_song(request, song_id), state=MusicCopy.State.MADE).first()
    if copy is None:
        raise Http404("The music is not made yet.")
    return _words(request, copy)


def _words(request: MemberRequest, copy: Playable) -> HttpResponse:
    start, frames, lead = (number(request, name) for name in ("start", "frames", "lead"))
    lead = -lead if "cut" in request.GET else lead

    def content() -> bytes:
        return words_after(copy, start=start, frames=frames, lead=lead).astype("<i2").tobytes()

    response = answer_with(request, tag_of(copy.key, f"{start}+{frames}/{lead}"), content)
    response.headers["X-Channels"] = str(min(copy.channels, MOST_CHANNELS))
    return response


@require_GET
@login_required
def notes(request: MemberRequest, song_id: int) -> HttpResponse:
    """The list by itself, for paper."""
    song = _song(request, song_id)
    return render(request, "takes/notes.html", {"notes": notes_page(song, request.user)})


@require_POST
@login_required
def leave_note(request: MemberRequest, rough_mix_id: int) -> HttpResponse:
    mixes = RoughMix.objects.visible_to(request.user).select_related("song__booking")
    mix = get_object_or_404(mixes, pk=rough_mix_id)
    form = NoteForm(request.POST, mixes=mixes.filter(song=mix.song))
    if not form.is_valid():
        return _answer(request, mix.song, form=form)
    said = form.cleaned_data
    first, last = said["bars"]

    def leave_it() -> object:
        return note_services.leave_note(
            rough_mix=said["on"] or mix,
            map_version=said["map_version"],
            first_bar=first,
            last_bar=last,
            text=said["text"],
            key=said["key"],
            by=request.user,
        )

    return _do(request, mix.song, leave_it)


@require_POST
@login_required
def answer_note(request: MemberRequest, note_id: int) -> HttpResponse:
    note, form = _find(request, note_id), AnswerForm(request.POST)
    if not form.is_valid():
        return _answer(request, note.song, trouble=str(form.errors["text"][0]))
    text = form.cleaned_data["text"]
    return _do(request, note.song, lambda: note_services.answer_note(note=note, text=text, by=request.user))


@require_POST
@login_required
def mark_note(request: MemberRequest, note_id: int) -> HttpResponse:
    """`done` says what it is to be, so that a press that comes twice changes nothing."""
    note, is_done = _find(request, note_id), request.POST.get("done") == "yes"
    return _do(request, note.song, lambda: note_services.mark_note(note=note, is_done=is_done, by=request.user))


@require_POST
@login_required
def take_back_note(request: MemberRequest, note_id: int) -> HttpResponse:
    note = _find(request, note_id)
    return _do(request, note.song, lambda: note_services.take_back_note(note=note, by=request.user))


def _song(request: MemberRequest, song_id: int) -> Song:
    return get_object_or_404(Song.objects.visible_to(request.user).select_related("booking__created_by"), pk=song_id)


def _find(request: MemberRequest, note_id: int) -> BarNote:
    notes = BarNote.objects.visible_to(request.user).select_related("song__booking")
    return get_object_or_404(notes, pk=note_id)


def _do(request: MemberRequest, song: Song, move: Callable[[], object]) -> HttpResponse:
    try:
        move()
    except TakesError as error:
        return _answer(request, song, trouble=str(error))
    return _answer(request, song)


def _answer(request: MemberRequest, song: Song, *, form: NoteForm | None = None, trouble: str = "") -> HttpResponse:
    """The list, as it is now, where the page stays; else back to the page, with what went wrong."""
    said = trouble or next((str(errors[0]) for errors in (form.errors.values() if form else ())), "")
    if request.htmx:
        notes = notes_page(song, request.user, trouble=said)
        return render(request, "takes/_notes_answered.html", {"notes": notes})
    if said:
        messages.error(request, said)
    return redirect(f"{reverse('takes:listen', args=[song.pk])}#notes")

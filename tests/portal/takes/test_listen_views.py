"""Notes at bars, and what listening is given."""

from __future__ import annotations

import json
from typing import Any
from uuid import uuid4

import numpy as np
import pytest
import soundfile
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse

from portal.bookings.models import Song
from portal.intake.models import ApprovedMap
from portal.mailroom.models import Message
from portal.people.models import User
from portal.takes import services
from portal.takes.listen_page import facts_of
from portal.takes.models import BarNote, MusicCopy, RoughMix
from portal.takes.note_forms import NoteForm
from tests.factories import make_bar_note, make_client, make_map, make_rough_mix, make_song

pytestmark = pytest.mark.django_db
# 40 bars of 112 in 4/4 take 85.7 s; bar one lies at 2 s.
REPORT = {"duration_s": 90.0, "sample_rate_hz": 48_000, "channels": 1, "frames": 480, "loudness_lufs": -20.0}


@pytest.fixture
def member() -> User:
    return make_client(name="Mara Sandquell")


@pytest.fixture
def song(member: User) -> Song:
    song = make_song(client=member, stage="in-review", title="Cold Bus Under Spoons")
    make_map(song=song)
    return song


@pytest.fixture
def mix(song: Song) -> RoughMix:
    return make_rough_mix(song=song, state=RoughMix.State.OUT, proxy_key=stored_ramp(), report=REPORT)


def stored_ramp() -> str:
    """480 frames whose 16-bit words are 0 to 479."""
    path = default_storage.path("ramp.flac")
    if not default_storage.exists("ramp.flac"):
        default_storage.save("ramp.flac", ContentFile(b""))
        soundfile.write(path, np.arange(480, dtype=np.int16), 48_000, "PCM_16", format="FLAC")
    return "ramp.flac"


def leave(client: Client, mix: RoughMix, bars: str, text: str = "Crash, please.", **fields: Any) -> str:
    said = {"bars": bars, "text": text, "map_version": 1, "key": str(uuid4())} | fields
    answer = client.post(reverse("takes:leave-note", args=[mix.pk]), said, headers={"HX-Request": "true"})
    assert answer.status_code == 200
    return str(answer.content.decode())


@pytest.mark.parametrize(
    ("typed", "bars"),
    [("33", (33, 33)), ("33-36", (33, 36)), (" 33 – 36 ", (33, 36)), ("5 to 6", (5, 6)), ("-1", (-1, -1))],
)
def test_bars_are_read_as_people_write_them(typed: str, bars: tuple[int, int]) -> None:
    form = NoteForm({"bars": typed, "text": "x", "map_version": "1"})
    assert form.is_valid(), form.errors
    assert form.cleaned_data["bars"] == bars


@pytest.mark.parametrize("typed", ["", "the bridge", "36-33", "33-", "99999", "1.5", "٣"])
def test_what_names_no_bars_gets_a_sentence(typed: str) -> None:
    form = NoteForm({"bars": typed, "text": "x", "map_version": "1"})
    assert not form.is_valid()
    assert str(form.errors["bars"][0]).endswith(".")


def test_a_note_is_left_once_at_its_bars_and_the_list_comes_back(
    client: Client, song: Song, mix: RoughMix, member: User
) -> None:
    client.force_login(member)
    key = str(uuid4())
    for _ in range(2):
        page = leave(client, mix, "33-36", key=key)
    assert "<html" not in page
    assert "Bars 33–36" in page
    assert 'id="note-key" hx-swap-oob="true"' in page
    assert "You left 1 note that you have not asked for yet" in page
    note = BarNote.objects.get()
    assert (note.first_bar, note.last_bar, note.approved_map.version, note.written_by) == (33, 36, 1, member)


@pytest.mark.parametrize(
    ("bars", "version", "says"),
    [
        # Bar 42 begins at 2 + 41 * 15/7 = 89.86 s, bar 43 at 92 s; the mix ends at 90 s.
        ("43", 1, "ends in bar 42: bar 43 is not in it"),
        ("9-99", 1, "ends in bar 42: bar 99 is not in it"),
        ("-5", 1, "begins after bar -5"),
        ("nowhere", 1, "names no bars"),
        ("5", 7, "no approved tempo map"),
    ],
)
def test_a_note_that_has_no_place_is_refused_in_a_sentence(
    client: Client, mix: RoughMix, member: User, bars: str, version: int, says: str
) -> None:
    client.force_login(member)
    assert says in leave(client, mix, bars, map_version=version)
    assert not BarNote.objects.exists()


def test_a_note_belongs_to_the_mix_that_was_heard(client: Client, song: Song, mix: RoughMix, member: User) -> None:
    """The page names it: in the form, in the list, and in the mail that asks for the change."""
    newest = make_rough_mix(song=song, state=RoughMix.State.OUT, proxy_key=mix.proxy_key, report=REPORT)
    client.force_login(member)
    page = client.get(reverse("takes:listen", args=[song.pk])).content.decode()
    assert f'<option value="{mix.pk}">Rough mix' in page
    assert "To accept an earlier one, ask" in " ".join(page.split())
    leave(client, newest, "9", "Here a crash.", on=str(mix.pk))
    leave(client, newest, "10", "Softer.")
    assert list(BarNote.objects.values_list("rough_mix", flat=True)) == [mix.pk, newest.pk]
    services.ask_for_change(rough_mix=newest, words="", by=member)
    assert "\n\nBar 9 of rough mix 1: Here a crash.\nBar 10: Softer." in Message.objects.get(song=song).body

    foreign = make_rough_mix(song=make_song(client=member, stage="in-review"), state=RoughMix.State.OUT)
    assert "is not there any more" in leave(client, newest, "9", on=str(foreign.pk))
    assert BarNote.objects.count() == 2


def test_notes_are_answered_marked_and_taken_back(client: Client, mix: RoughMix, member: User) -> None:
    client.force_login(member)
    leave(client, mix, "9")
    note = BarNote.objects.get()
    for _ in range(2):
        client.post(reverse("takes:mark-note", args=[note.pk]), {"done": "yes"})
    note.refresh_from_db()
    assert (note.is_done, note.done_by) == (True, member)
    client.post(reverse("takes:mark-note", args=[note.pk]), {"done": "no"})
    note.refresh_from_db()
    assert not note.is_done

    drummer = mix.song.booking.created_by
    client.force_login(drummer)
    page = client.post(reverse("takes:take-back-note", args=[note.pk]), follow=True).content.decode()
    assert "mark it as done instead" in page  # it is not theirs
    for _ in range(2):
        client.post(reverse("takes:answer-note", args=[note.pk]), {"text": "On the next take."})
    assert note.answers.count() == 1
    assert (
        "Write the answer first."
        in client.post(reverse("takes:answer-note", args=[note.pk]), {"text": ""}, follow=True).content.decode()
    )

    client.force_login(member)
    client.post(reverse("takes:take-back-note", args=[note.pk]))
    assert BarNote.objects.filter(pk=note.pk).exists()  # it was answered
    leave(client, mix, "10")
    client.post(reverse("takes:take-back-note", args=[BarNote.objects.last().pk]))  # type: ignore[union-attr]
    assert BarNote.objects.get() == note


def test_a_request_takes_the_clients_open_notes_along_and_needs_no_words(
    client: Client, song: Song, mix: RoughMix, member: User
) -> None:
    client.force_login(member)
    leave(client, mix, "33-36", "Ride, not hat.")
    leave(client, mix, "9", "A crash.")
    leave(client, mix, "1", "This is done.")
    done = BarNote.objects.get(first_bar=1)
    done.mark(is_done=True, by=member)
    make_bar_note(rough_mix=mix, text="The drummer’s own.")
    client.post(reverse("takes:decide", args=[mix.pk]), {"decision": "change", "words": ""})
    mix.refresh_from_db()
    assert (mix.state, mix.round_number) == (RoughMix.State.CHANGE_ASKED, 1)
    body = Message.objects.get(song=song).body
    assert body.endswith("asks for a change to rough mix 1:\n\nBar 9: A crash.\nBars 33–36: Ride, not hat.")
    assert set(mix.asked_notes.values_list("first_bar", flat=True)) == {9, 33}
    assert services.waiting_notes(song).count() == 0


def test_notes_move_by_time_when_a_map_is_approved_anew_and_the_page_says_so(
    client: Client, song: Song, mix: RoughMix, member: User
) -> None:
    """Half the tempo: bars 33 and 34 of 112 are bar 17 of 56."""
    client.force_login(member)
    leave(client, mix, "33-34")
    make_map(song=song, bpm=56.0)
    for name in ("takes:listen", "takes:notes"):
        page = client.get(reverse(name, args=[song.pk])).content.decode()
        assert "Bar 17" in page
        assert "written as bars 33–34 of map 1" in " ".join(page.split())
        assert "approved anew" in page
    note = BarNote.objects.get()
    assert (note.first_bar, note.last_bar) == (33, 34)  # as they were written
    assert ApprovedMap.objects.count() == 2


def test_outside_review_no_note_is_taken(client: Client, song: Song, mix: RoughMix, member: User) -> None:
    client.force_login(member)
    Song.objects.update(stage="delivered")
    assert "notes are taken while rough mixes are sent" in leave(client, mix, "5")
    assert "Leave this note" not in client.get(reverse("takes:listen", args=[song.pk])).content.decode()


def test_the_sound_is_laid_on_the_pages_time_by_whole_frames(client: Client, mix: RoughMix, member: User) -> None:
    client.force_login(member)

    def words(**query: int) -> list[int]:
        answer = client.get(reverse("takes:sound", args=[mix.pk]), query)
        assert answer.headers["X-Channels"] == "1"
        return list(np.frombuffer(answer.content, "<i2"))

    assert words(start=100, frames=3) == [100, 101, 102]
    assert words(start=8, frames=4, lead=10) == [0, 0, 0, 1]
    assert words(start=478, frames=9) == [478, 479]
    assert words(start=0, frames=2, lead=500) == [0, 0]
    assert words(start=979, frames=5, lead=500) == [479]


def test_the_page_begins_with_the_earliest_of_what_is_heard(song: Song) -> None:
    """One mix begins 2.5 s before the client's files, the other with them."""
    early = make_rough_mix(song=song, state="out", report=REPORT, begins="session", begins_at_s=-2.5)
    late = make_rough_mix(song=song, state="out", report=REPORT, holds="drums")
    music = MusicCopy(song=song, key="music", sample_rate_hz=44_100, frames=441_000, loudness_lufs=-14.0)
    facts = facts_of(song, (late, early), music)
    assert [(lane["lead"], lane["holds"]) for lane in facts["takes"]] == [(120_000, "drums"), (0, "mix")]
    assert (facts["music"]["lead"], facts["music"]["frames"]) == (110_250, 551_250)
    assert facts["bars"][0]["bar"] == 1
    assert facts["bars"][0]["time_s"] == pytest.approx(4.5)
    assert json.dumps(facts)


def test_the_page_holds_player_notes_and_the_clients_answer(
    client: Client, song: Song, mix: RoughMix, member: User
) -> None:
    client.force_login(member)
    page = client.get(reverse("takes:listen", args=[song.pk])).content.decode()
    for words in ("data-listen-facts", "I accept rough mix 1", "Leave this note", "no music among the song"):
        assert words in page
    client.force_login(song.booking.created_by)
    assert "I accept" not in client.get(reverse("takes:listen", args=[song.pk])).content.decode()

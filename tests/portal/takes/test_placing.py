"""Rough mixes lined up by themselves, and the page of their feel."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from analysis.core.errors import UnusableFileError
from analysis.core.samples import Samples
from analysis.delivery.feel_report import FeelReport, FeelSection, Offsets
from analysis.handover.place_report import TakePlace
from portal.bookings.models import Song
from portal.takes import placing, services, tasks
from portal.takes.about import About
from portal.takes.feel_page import feel_page
from portal.takes.listen_page import facts_of
from portal.takes.models import MusicCopy, RoughMix
from tests import signals
from tests.analysis.playing import RATE_HZ, placed
from tests.factories import make_client, make_map, make_rough_mix, make_song, make_take, wav_bytes
from tests.portal.pages import flat

pytestmark = pytest.mark.django_db

LEAD = 48_000
FACTS = {"duration_s": 20.0, "sample_rate_hz": RATE_HZ, "channels": 1, "frames": 20 * RATE_HZ}


def music() -> Samples:
    """Notes of noise at times of their own."""
    times_s = np.sort(np.random.default_rng(11).uniform(0.2, 18, 40))
    notes = [(float(at_s), 0.2 * signals.noise(duration_s=0.4, seed=n)[:, 0]) for n, at_s in enumerate(times_s)]
    return placed(notes, 20.0)


@pytest.fixture
def song() -> Song:
    song = make_song(client=make_client(), stage="tracking", title="Cold Bus Under Spoons")
    make_map(song=song, bpm=120.0, bar_one_s=0.5)
    return song


@pytest.fixture
def copy(song: Song, monkeypatch: pytest.MonkeyPatch) -> MusicCopy:
    key = default_storage.save("music/test.wav", ContentFile(wav_bytes(music())))
    facts = {"key": key, "sample_rate_hz": RATE_HZ, "frames": 20 * RATE_HZ}
    copy = MusicCopy.objects.create(song=song, fingerprint="0", state=MusicCopy.State.MADE, **facts)
    monkeypatch.setattr(placing, "ask_for_music", lambda _: copy)
    return copy


def mix_of(song: Song, content: bytes = b"a mix", **fields: Any) -> RoughMix:
    said = {"state": "ready", "proxy_key": "proxies/mix.flac", "report": FACTS}
    return make_rough_mix(song=song, content=content, **(said | fields))


def test_a_mix_with_music_is_lined_up_to_the_sample_and_played_there(song: Song, copy: MusicCopy) -> None:
    """It begins a second before the client's files, which nobody said."""
    under = np.concatenate([np.zeros((LEAD, 1)), 0.7 * music()])
    sound = 0.4 * np.random.default_rng(5).normal(0, 1, 2_400) * np.exp(-np.arange(2_400) / 500)
    drums = placed([(1.5 + 0.25 * beat, sound) for beat in range(70)], 21.0)
    mix = mix_of(song, wav_bytes(drums + under))
    tasks.place_rough_mix(mix.pk)
    mix.refresh_from_db()

    assert (mix.begins_at_s, mix.is_placed_by_sound) == (-1.0, True)
    facts = facts_of(song, (mix,), copy)
    assert (facts["takes"][0]["lead"], facts["music"]["lead"]) == (0, LEAD)
    place = TakePlace.from_json(mix.place or {})
    assert place.feel is not None
    assert placing.out_of_date(song) == []
    services.describe(mix, About(None, "mix", "files"))
    mix.refresh_from_db()
    assert mix.begins_at_s == -1.0


def placed_mix(song: Song, number: int, early_ms: float, **fields: Any) -> RoughMix:
    offsets = (Offsets("low", 40, -early_ms, 3.0, 4.0), Offsets("high", 80, 0.0, 2.5))
    sections = (FeelSection(1, 8, offsets), FeelSection(9, 8, offsets[:1]))
    place = TakePlace(0.0, "sound", begins_frames=0, feel=FeelReport(4, offsets, sections))
    take = make_take(song=song, number=number)
    return mix_of(song, take=take, place=place.to_json(), number=number, **fields)


def test_takes_are_drawn_beside_each_other_and_said_in_words(song: Song, client: Client) -> None:
    """8 ms of 20 early: 0.4 of half the height of 88 above the middle at 48 (Source: arithmetic)."""
    mixes = [placed_mix(song, number, early_ms) for number, early_ms in ((2, 8.0), (1, 12.0))]
    page = feel_page(mixes, [], {1: "Verse", 9: "Chorus", 17: "After the end"})

    assert page.sections == ((44.0, "Verse"), (382.0, "Chorus"))  # bar 9 of 16 bars: half of 676 after 44
    assert [drum.name for drum in page.drums] == ["Kick", "Hat and cymbals"]
    assert [(row.label, row.middle, row.spread, row.trend) for row in page.drums[0].rows] == [
        ("Rough mix 2, take 2", "8.0 ms early", "±3.0 ms", "4.0 ms later at the end"),
        ("Rough mix 1, take 1", "12.0 ms early", "±3.0 ms", "4.0 ms later at the end"),
    ]
    assert page.drums[1].rows[0].trend == "none that can be told"
    assert page.drums[1].rows[0].middle == "on the beat"
    steps = dict(page.drums[0].takes)[0]
    assert [step.y for step in steps] == [pytest.approx(48 - 0.4 * 44)] * 2
    assert steps[1].words == "bars 9–16: 8.0 ms early"
    assert page.reach_ms == 20

    client.force_login(song.booking.created_by)
    RoughMix.objects.update(state="out")
    shown = flat(client.get(reverse("takes:listen", args=[song.pk])).content.decode())
    assert "8.0 ms early" in shown
    assert "Lined up by the music in it, to the sample: it begins with the client’s files." in shown
    client.force_login(song.booking.members.get().user)
    assert "8.0 ms early" not in client.get(reverse("takes:listen", args=[song.pk])).content.decode()


def test_what_shares_no_sound_says_from_where_it_is_counted(song: Song) -> None:
    by_map = TakePlace(-4.25, "map", no_feel="there is too little sound in this take to measure")
    page = feel_page([mix_of(song, place=by_map.to_json()), mix_of(song)], [], {})
    words = (
        "It shares no sound with the client’s files; its strokes lie nearest to the beats from there: "
        "it begins 4.250000 s before the client’s files."
    )
    assert [one.words for one in page.placed] == [words]
    assert page.drums == ()
    assert page.placed[0].trouble.startswith("there is too little")


def test_a_new_map_or_another_word_places_it_anew_and_a_broken_file_is_given_up(
    song: Song, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[dict[str, Any]] = []

    def place(_: Path, **options: Any) -> TakePlace:
        asked.append(options)
        return TakePlace(0.0, "stated")

    monkeypatch.setattr(placing, "place_take_in_child", place)
    mix = mix_of(song, holds=RoughMix.Holds.DRUMS)
    tasks.place_rough_mix(mix.pk)
    tasks.place_rough_mix(mix.pk)
    assert (len(asked), asked[0]["music"], asked[0]["known_s"]) == (1, None, [0.0])
    make_map(song=song, bpm=121.0)
    assert placing.out_of_date(song) == [mix.pk]
    tasks.place_rough_mix(mix.pk)
    assert len(asked) == 2

    def broken(*_: Any, **__: Any) -> TakePlace:
        asked.append({})
        raise UnusableFileError("made the decoder fail")

    monkeypatch.setattr(placing, "place_take_in_child", broken)
    make_map(song=song, bpm=122.0)
    for _ in range(5):
        tasks.place_rough_mix(mix.pk)
    assert len(asked) == 2 + placing.MOST_TRIES
    assert placing.out_of_date(song) == []


def test_the_sweep_finds_mixes_that_nobody_placed(song: Song, monkeypatch: pytest.MonkeyPatch) -> None:
    queued: list[int] = []
    monkeypatch.setattr(tasks.place_rough_mix, "delay", queued.append)
    before = timezone.now() - placing.LEFT_ALONE_FOR - timedelta(seconds=1)
    left = mix_of(song, received_at=before)
    mix_of(song, received_at=before, placed_by="x")
    mix_of(song)
    mix_of(make_song(stage="accepted"), received_at=before)
    tasks.sweep()
    assert queued == [left.pk]


def test_a_chart_with_other_sections_measures_the_feel_anew(song: Song, monkeypatch: pytest.MonkeyPatch) -> None:
    mix, sections = mix_of(song), [(1, "A"), (9, "B")]
    monkeypatch.setattr(placing, "named_sections", lambda _: sections)
    before = placing.fingerprint_of(mix, None, placing.song_bars(song))
    sections[1] = (9, "Chorus")
    assert (
        placing.fingerprint_of(mix, None, placing.song_bars(song)) == before
    )  # another name is another word on the page alone
    sections[1] = (10, "Chorus")
    assert placing.fingerprint_of(mix, None, placing.song_bars(song)) != before


def test_what_all_mixes_share_is_read_once_however_many_there_are(
    song: Song, monkeypatch: pytest.MonkeyPatch, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    """Beside the sections: the copy of the music, the map, the mixes."""
    asked: list[Song] = []

    def sections(of: Song) -> list[tuple[int, str]]:
        asked.append(of)
        return [(1, "Intro")]

    monkeypatch.setattr(placing, "named_sections", sections)
    for number in range(1, 5):
        mix_of(song, number=number)
    with django_assert_num_queries(3):
        assert len(placing.out_of_date(song)) == 4
    assert asked == [song]

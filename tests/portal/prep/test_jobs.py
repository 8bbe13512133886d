"""Click and tempo-map file of an approved map. Places are arithmetic: frame = seconds × rate, bar = 4 × 60 / bpm."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import mido
import numpy as np
import pytest
import soundfile
from django.core.files.storage import default_storage
from django.utils import timezone
from pytest_django import DjangoCaptureOnCommitCallbacks

from analysis.maps.click_sound import BLOCK_FRAMES
from analysis.maps.midi import read_midi
from portal.charts.models import ChartVersion
from portal.charts.services import save
from portal.intake import hooks
from portal.intake.models import ApprovedMap
from portal.prep import jobs, tasks
from portal.prep.models import PreparedFile
from portal.prep.services import prepare
from tests.factories import CHART, make_chart_version, make_map, make_song, make_source

pytestmark = pytest.mark.django_db


def files_of(approved: ApprovedMap) -> dict[str, PreparedFile]:
    return {prepared.kind: prepared for prepared in approved.prepared.all()}


def sections_in(prepared: PreparedFile) -> list[tuple[int, str]]:
    markers = read_midi(Path(default_storage.path(prepared.key))).markers
    return [(marker.bar, marker.text) for marker in markers if marker.text != "bar one"]


def onsets(samples: np.ndarray) -> list[int]:
    """The first frame of each run of sound."""
    loud = np.flatnonzero(np.abs(samples[:, 0]) > 0)
    return [int(loud[0]), *(int(at) for at in loud[1:][np.diff(loud) > 100])]


def test_the_click_lies_on_the_exact_frames_with_its_count_in_before_the_files() -> None:
    """112 BPM at 48 kHz, bar one 2 s into the files: two bars are 4.285714 s, so the click starts 2.285714 s early.

    Beats are 25 714.2857 frames apart, each rounded from its exact place; bar one is at 205 714 (Source: arithmetic).
    """
    song = make_song(title="Cold Bus Under Spoons")
    make_source(song=song)
    approved = make_map(song=song)
    jobs.make_files(approved.pk)

    click = files_of(approved)["click"]
    samples, rate_hz = soundfile.read(default_storage.path(click.key), always_2d=True)
    assert (rate_hz, soundfile.info(default_storage.path(click.key)).subtype) == (48_000, "PCM_24")
    assert onsets(samples)[:10] == [round(beat * 60 * 48_000 / 112) for beat in range(10)]
    assert click.facts["bar_one_frame"] == 205_714
    assert click.facts["lead_s"] == pytest.approx(2 * 4 * 60 / 112 - 2)
    assert click.name == "Cold-Bus-Under-Spoons_112bpm_v1_click_count-in-before-files.wav"


def test_a_second_click_starts_with_the_files_and_leaves_out_what_does_not_fit() -> None:
    """Bar one at 2 s, beats 60/112 s apart: three beats fit before it (Source: arithmetic, 2 × 112 / 60 = 3.73)."""
    song = make_song(title="Cold Bus Under Spoons")
    approved = make_map(song=song)
    jobs.make_files(approved.pk)
    click = files_of(approved)["with-files"]
    samples, _ = soundfile.read(default_storage.path(click.key), always_2d=True)
    assert onsets(samples)[:5] == [round((2 + beat * 60 / 112) * 48_000) for beat in range(-3, 2)]
    assert (click.facts["bar_one_frame"], click.facts["lead_s"]) == (96_000, 0)
    assert click.name == "Cold-Bus-Under-Spoons_112bpm_v1_click_starts-with-files.wav"


def test_no_count_in_in_the_files_is_no_wish_for_none_in_the_click() -> None:
    song = make_song()
    song.brief.count_in_bars = 0
    song.brief.save()
    approved = make_map(song=song)
    jobs.make_files(approved.pk)
    assert files_of(approved)["click"].facts["count_in_bars"] == 2


def test_the_click_peaks_at_twelve_under_full_scale() -> None:
    approved = make_map(song=make_song())
    jobs.make_files(approved.pk)
    samples, _ = soundfile.read(default_storage.path(files_of(approved)["click"].key))
    assert 20 * np.log10(np.abs(samples).max()) == pytest.approx(-12.0, abs=0.01)


def test_the_click_covers_the_longest_file_at_the_rate_most_files_have() -> None:
    """60 s less 2 s before bar one, at 240/112 s a bar: the end lies in bar 28 (27.07 bars)."""
    song = make_song()
    for _ in range(2):
        make_source(song=song)
    odd = make_source(song=song)
    assert odd.report is not None
    odd.report |= {"sample_rate_hz": 44_100, "duration_s": 30.0}
    odd.save(update_fields=["report"])
    approved = make_map(song=song)
    jobs.make_files(approved.pk)

    facts = files_of(approved)["click"].facts
    assert (facts["sample_rate_hz"], facts["bars"]) == (48_000, 28)


@pytest.mark.parametrize("bars", [0, 3])
def test_the_drummers_count_in_stands_above_the_brief(bars: int) -> None:
    song = make_song()
    song.brief.count_in_bars = 1
    song.brief.save(update_fields=["count_in_bars"])
    approved = make_map(song=song)
    ApprovedMap.objects.update(count_in_bars=bars)
    jobs.make_files(approved.pk)
    assert files_of(approved)["click"].facts["count_in_bars"] == bars


def test_the_brief_may_ask_for_another_count_in() -> None:
    song = make_song()
    song.brief.count_in_bars = 1
    song.brief.save()
    approved = make_map(song=song, bpm=120.0, bar_one_s=2.0)
    jobs.make_files(approved.pk)
    assert set(files_of(approved)) == {"click", "tempo-map"}  # the click starts with the files as it is
    assert files_of(approved)["click"].facts["lead_s"] == 0.0
    assert files_of(approved)["click"].facts["bar_one_frame"] == 96_000


def test_the_tempo_map_file_is_a_midi_file_that_says_the_tempo() -> None:
    approved = make_map(song=make_song(), bpm=112.0, bar_one_s=0.0)
    jobs.make_files(approved.pk)
    file = mido.MidiFile(default_storage.path(files_of(approved)["tempo-map"].key))
    tempos = [message.tempo for track in file.tracks for message in track if message.type == "set_tempo"]
    assert tempos == [535_714]  # 60 000 000 / 112 = 535 714.29 µs


def test_a_song_that_begins_free_is_named_by_the_tempo_that_is_kept() -> None:
    """Free for 10 s, then at 120: the click is silent but for the one bar that counts in, from 8 s on."""
    approved = make_map(song=make_song(title="Cold Bus Under Spoons"), bpm=96.0, bar_one_s=0.0)
    approved.map["segments"][0]["free"] = True
    approved.map["segments"].append({"bar": 5, "time_s": 10.0, "bpm": 120.0, "meter": "4/4"})
    approved.save()
    jobs.make_files(approved.pk)

    click = files_of(approved)["click"]
    samples, _ = soundfile.read(default_storage.path(click.key), always_2d=True)
    assert onsets(samples)[:9] == [8 * 48_000 + 24_000 * beat for beat in range(9)]
    assert click.name == "Cold-Bus-Under-Spoons_120bpm_v1_click_starts-with-files.wav"
    assert (click.facts["count_in_bars"], click.facts["lead_s"], click.facts["free_passages"]) == (0, 0, 1)


def test_made_again_they_are_the_same_files() -> None:
    approved = make_map(song=make_song())
    for _ in range(2):
        tasks.make_files(approved.pk)
    assert approved.prepared.count() == 3
    keys = {prepared.key for prepared in approved.prepared.all()}
    approved.prepared.all().delete()
    tasks.make_files(approved.pk)
    assert {prepared.key for prepared in approved.prepared.all()} == keys


def test_an_approval_has_them_made() -> None:
    assert prepare in hooks.on_map_approved


def test_the_sweep_finds_maps_without_their_files(monkeypatch: pytest.MonkeyPatch) -> None:
    queued: list[int] = []
    monkeypatch.setattr(tasks.make_files, "delay", queued.append)
    before = timezone.now() - jobs.LEFT_ALONE_FOR - timedelta(seconds=1)
    done, left, _new = (make_map(song=make_song()) for _ in range(3))
    jobs.make_files(done.pk)
    ApprovedMap.objects.filter(pk__in=[done.pk, left.pk]).update(approved_at=before)
    tasks.sweep()
    assert queued == [left.pk]


def test_the_click_is_written_piece_by_piece(monkeypatch: pytest.MonkeyPatch) -> None:
    """However long the song, the worker holds no more of its click than one block."""
    written: list[int] = []
    write = soundfile.SoundFile.write

    def noted(file: soundfile.SoundFile, samples: np.ndarray) -> None:
        written.append(len(samples))
        write(file, samples)

    monkeypatch.setattr(soundfile.SoundFile, "write", noted)
    jobs.make_files(make_map(song=make_song()).pk)
    assert len(written) > 2
    assert max(written) == BLOCK_FRAMES


def test_the_tempo_map_file_names_the_chart_s_sections_and_is_made_anew_with_them(
    django_capture_on_commit_callbacks: DjangoCaptureOnCommitCallbacks, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The chart was made with bar one at 0 s; it is at 2 s now, one bar of 120 later: bars 1 and 5 are 0 and 4."""
    song = make_song()
    make_chart_version(song=song, approved_map=make_map(song=song, bpm=120.0, bar_one_s=0.0))
    approved = make_map(song=song, bpm=120.0, bar_one_s=2.0)
    tasks.make_files(approved.pk)
    first = files_of(approved)["tempo-map"]
    assert sections_in(first) == [(0, "A Verse"), (4, "B Chorus")]
    assert first.facts["chart"] == 1

    monkeypatch.setattr(tasks.make_tempo_map, "delay", tasks.make_tempo_map)
    changed = {"sections": [{"letter": "", "name": "Opening", "bars": [{}] * 8}]}
    with django_capture_on_commit_callbacks(execute=True):
        save(song=song, chart=CHART | changed, seen=1, note="", by=approved.approved_by)
    second = files_of(approved)["tempo-map"]
    assert (sections_in(second), second.facts["chart"]) == ([(0, "Opening")], 2)
    assert not default_storage.exists(first.key)
    tasks.make_tempo_map(approved.pk)
    assert files_of(approved)["tempo-map"].key == second.key
    assert default_storage.exists(second.key)


def test_the_sweep_finds_tempo_map_files_without_the_newest_chart(monkeypatch: pytest.MonkeyPatch) -> None:
    """Those of maps in use; a chart whose sections have no names is in its file, too."""
    queued: list[int] = []
    monkeypatch.setattr(tasks.make_tempo_map, "delay", queued.append)
    before = timezone.now() - jobs.LEFT_ALONE_FOR - timedelta(seconds=1)
    songs = [make_song() for _ in range(4)]
    replaced, *maps = (make_map(song=song) for song in (songs[0], *songs))
    for approved in (replaced, *maps):
        jobs.make_files(approved.pk)
    unnamed = CHART | {"sections": [{"letter": "", "name": "", "bars": [{}] * 8}]}
    for song, approved, chart in zip(songs[:3], maps, (CHART, unnamed, CHART), strict=False):
        make_chart_version(song=song, approved_map=approved, chart=chart)
    ChartVersion.objects.exclude(song=songs[2]).update(saved_at=before)
    tasks.sweep()
    assert sorted(queued) == sorted(one.pk for one in maps[:2])
    queued.clear()
    for approved in maps[:2]:
        jobs.make_tempo_map_anew(approved.pk)
    tasks.sweep()
    assert queued == []


def test_a_tempo_map_file_is_not_made_before_the_clicks() -> None:
    approved = make_map(song=make_song())
    tasks.make_tempo_map(approved.pk)
    assert not approved.prepared.exists()

"""Whole songs whose tempo, bars and bar one are known."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.band.clock import Clock, Drift, Rubato, TempoPlan
from analysis.core.reports import Brief, FileReport
from analysis.core.thresholds import Limits
from analysis.features.feature_arrays import Features
from analysis.maps.tempo_map import MeterSign, TempoMap
from analysis.measuring.song import SongFile
from tests.analysis.clicks import render_click
from tests.analysis.playing import RATE_HZ, band, codes, measured, placed, pluck, song_file

BAR_ONE_FRAME = 205_714


def click_file(
    bpm: str, *, bars: int = 56, bar_one_s: Fraction = Fraction(BAR_ONE_FRAME, RATE_HZ), count_in: int = 0
) -> SongFile:
    tempo_map = TempoMap.constant(bpm, "4/4", bar_one_s)
    return song_file(render_click(tempo_map, bars=bars, count_in_bars=count_in), "click.wav")


def even_beats(bpm: float, count: int, start_s: float = 0.5) -> NDArray[np.float64]:
    return start_s + np.arange(count) * 60 / bpm


def test_music_that_wanders_by_two_percent_is_not_called_constant() -> None:
    # Common practice test: +-2 % of slow drift must be seen and answered with a map.
    beats = np.arange(130)
    seconds = np.cumsum(0.5 / (1 + 0.02 * np.sin(2 * np.pi * beats / 70)))

    report = measured(song_file(band(seconds)))

    assert report.song.tempo.kind == "map"
    assert "tempo-drifts" in codes(report)
    assert len(report.song.tempo_map) >= 3
    found = np.array(report.song.beats_s)
    assert np.median([np.abs(found - beat).min() for beat in seconds]) < 0.02


def test_one_change_of_tempo_is_found_at_its_bar() -> None:
    seconds = np.concatenate([0.5 + np.arange(64) * 0.5, 32.5 + np.arange(65) * 60 / 108])

    report = measured(song_file(band(seconds)))

    changes = [finding for finding in report.findings if finding.code == "tempo-changes"]
    assert len(changes) == 1
    assert changes[0].value["from_bpm"] == pytest.approx(120, abs=0.1)
    assert changes[0].value["to_bpm"] == pytest.approx(108, abs=0.1)
    assert changes[0].place.time_s == pytest.approx(32.5, abs=2.0)


@pytest.mark.parametrize(("bpm", "beats_per_bar"), [(96.0, 4), (117.3, 4), (108.0, 3)])
def test_reads_tempo_meter_and_bar_one_from_music(bpm: float, beats_per_bar: int) -> None:
    beats = even_beats(bpm, 24 * beats_per_bar + 1)

    song = measured(song_file(band(beats, beats_per_bar=beats_per_bar))).song

    assert song.tempo.bpm == pytest.approx(bpm, abs=0.02)
    assert song.tempo.bpm_low is not None
    assert song.tempo.bpm_high is not None
    assert song.tempo.bpm_low <= bpm <= song.tempo.bpm_high
    assert song.meter.beats_per_bar == beats_per_bar
    assert song.bar_one.time_s == pytest.approx(0.5, abs=0.01)


def test_a_tempo_read_from_music_stays_within_ten_milliseconds_for_the_song() -> None:
    beats = even_beats(112.0, 200)

    song = measured(song_file(band(beats))).song

    assert song.beats_s[190] - song.bar_one.time_s == pytest.approx(190 * 60 / 112, abs=0.010)  # type: ignore[operator]


def test_a_brief_that_agrees_says_nothing() -> None:
    report = measured(click_file("112"), brief=Brief(bpm=112, meter="4/4"))

    assert not codes(report)


def test_a_brief_with_another_meter_is_asked_about() -> None:
    assert "meter-differs" in codes(measured(click_file("112"), brief=Brief(bpm=112, meter="3/4")))


def test_bar_one_that_the_brief_places_at_the_start_is_asked_about() -> None:
    report = measured(click_file("112", bar_one_s=Fraction(5)), brief=Brief(bpm=112, starts="bar-one"))

    assert "bar-one-late" in codes(report)


def test_what_somebody_knows_to_be_no_click_is_music() -> None:
    click = click_file("112")

    report = measured(click, brief=Brief(not_clicks=(click.report.name,)))

    assert [file.is_click for file in report.files] == [False]
    assert report.song.tempo.source != "click"


def test_the_band_says_where_bar_one_is_and_the_click_when() -> None:
    tempo_map = TempoMap.constant(100, "4/4", Fraction(24, 5))
    click = song_file(render_click(tempo_map, bars=24, count_in_bars=2), "click.wav")
    music = band(4.8 + np.arange(97) * 0.6)

    report = measured(click, song_file(music, "mix.wav"))

    assert [file.is_click for file in report.files] == [True, False]
    assert report.song.bar_one.time_s == pytest.approx(4.8, abs=0.001)
    assert report.song.count_in_bars == 2
    assert not codes(report) & {"click-differs", "no-click", "start-differs"}


@pytest.mark.parametrize("late_s", [-0.034, 0.043])
def test_a_click_that_is_off_by_a_constant_is_reported_with_its_size(late_s: float) -> None:
    click = song_file(render_click(TempoMap.constant(100, "4/4", 3 + Fraction(late_s)), bars=24, count_in_bars=0))
    music = band(3 + np.arange(97) * 0.6)

    report = measured(click, song_file(music, "keys.wav"))

    found = [finding for finding in report.findings if finding.code == "click-differs"]
    assert len(found) == 1
    # A sound's start is read from music to about 10 ms: how soft its attack is decides.
    assert found[0].value["offset_ms"] == pytest.approx(abs(1000 * late_s), abs=10)
    assert found[0].value["later_or_earlier"] == ("later" if late_s > 0 else "earlier")


def test_a_stem_that_starts_late_is_named() -> None:
    beats = even_beats(104.0, 97)
    stems = [band(beats, seed=1), band(beats, seed=2), np.roll(band(beats, seed=3), round(0.046 * RATE_HZ), axis=0)]

    report = measured(*(song_file(stem, f"{name}.wav") for name, stem in zip("abc", stems, strict=True)))

    found = [finding for finding in report.findings if finding.code == "start-differs"]
    assert [finding.file for finding in found] == ["c.wav"]
    assert found[0].value["offset_ms"] == pytest.approx(46, abs=8)


NOTHING_TO_FIND = {
    "silence": np.zeros((RATE_HZ, 1)),
    "no frames": np.zeros((0, 1)),
    "one frame": np.ones((1, 1)),
    "one click": np.eye(1, RATE_HZ).T,
    "one second of noise": np.random.default_rng(0).normal(0, 0.1, (RATE_HZ, 2)),
    "a constant": np.ones((RATE_HZ, 1)),
    "a held tone": np.sin(np.arange(10 * RATE_HZ) * 0.05)[:, None],
    "not a number": np.full((RATE_HZ, 1), np.nan),
}


@pytest.mark.parametrize("case", NOTHING_TO_FIND)
def test_is_safe_where_there_is_nothing_to_find(case: str) -> None:
    report = measured(song_file(NOTHING_TO_FIND[case]))

    assert report.song.tempo.confidence < 0.8
    assert report.to_json()["schema"] == 1


def test_no_files_are_no_music() -> None:
    assert codes(measured()) == {"no-music"}


def midi_report(tempo_map: TempoMap) -> SongFile:
    metadata = {"midi_map": tempo_map.to_json()}
    return SongFile(FileReport(name="song.mid", sha256="m", container="midi", metadata=metadata), Features.empty())


@pytest.mark.parametrize(("tempo", "is_sure"), [(Rubato(Fraction(90), 0.12, 0), False), (Drift(Fraction(90)), True)])
def test_free_playing_is_never_sure_of_a_grid_and_a_drift_may_be(tempo: TempoPlan, *, is_sure: bool) -> None:
    clock = Clock.from_plan(tempo, (MeterSign(4, 4),) * 32, Fraction(1))

    song = measured(song_file(band(np.array([float(start_s) for start_s in clock.beat_starts_s])))).song

    assert (song.tempo.confidence >= Limits().tempo_sure) == is_sure
    assert (song.bar_one.confidence >= Limits().bar_one_sure) == is_sure


def test_a_midi_map_that_the_music_lies_on_is_the_grid() -> None:
    tempo_map = TempoMap.from_json(
        {
            "segments": [
                {"bar": 1, "time_s": 0, "bpm": 120, "meter": "4/4"},
                {"bar": 9, "time_s": 16, "bpm": 100, "meter": "4/4"},
            ]
        }
    )
    beats = np.array([float(tempo_map.time_of_bar(bar, beat)) for bar in range(1, 25) for beat in range(4)])

    song = measured(midi_report(tempo_map), song_file(band(beats))).song

    assert (song.tempo.source, song.tempo.kind) == ("midi", "map")
    assert [(segment.bar, segment.bpm) for segment in song.tempo_map] == [(1, 120.0), (9, 100.0)]
    assert song.beats_s[:96] == pytest.approx(beats, abs=1e-5)


def test_a_midi_map_may_be_free_and_only_its_grid_is_held_against_the_music() -> None:
    """Bars 9 to 12 are free: the band plays 8 bars at 120, something else for 10 s, and 12 bars at 120 from 26 s on."""
    segments = [
        {"bar": 1, "time_s": 0, "bpm": 120, "meter": "4/4"},
        {"bar": 9, "time_s": 16, "bpm": 96, "meter": "4/4", "free": True},
        {"bar": 13, "time_s": 26, "bpm": 120, "meter": "4/4"},
    ]
    tempo_map = TempoMap.from_json({"segments": segments})
    free_s = 16 + np.sort(np.random.default_rng(4).uniform(0.3, 9.7, 14))
    beats = np.concatenate([0.5 * np.arange(32), free_s, 26 + 0.5 * np.arange(48)])

    song = measured(midi_report(tempo_map), song_file(band(beats))).song

    assert song.tempo.source == "midi"
    assert [(one.bar, one.bpm) for one in song.tempo_map] == [(1, 120), (9, 96), (13, 120)]
    assert [one.free for one in song.tempo_map] == [False, True, False]
    assert (song.tempo.bpm_low, song.tempo.bpm_high) == (120, 120)


def test_a_midi_map_that_the_music_does_not_follow_is_not_used() -> None:
    music = song_file(band(even_beats(112.0, 97)))

    song = measured(midi_report(TempoMap.constant(118)), music).song

    assert song.tempo.source == "music"
    assert song.tempo.bpm == pytest.approx(112, abs=0.02)


def test_a_stated_tempo_never_overrides_what_is_heard() -> None:
    report = measured(song_file(band(even_beats(112.0, 97))), brief=Brief(bpm=118))

    assert report.song.tempo.bpm == pytest.approx(112, abs=0.02)
    assert "tempo-differs" in codes(report)


@pytest.mark.parametrize("seed", range(4))
def test_free_playing_has_no_grid(seed: int) -> None:
    rng = np.random.default_rng(seed)
    times = np.sort(rng.uniform(0.5, 45, 150))
    free = placed([(time, pluck(12 + int(rng.integers(24)))) for time in times], 46)

    report = measured(song_file(free))

    assert report.song.tempo.kind == "none"
    assert "no-tempo" in codes(report)

"""Sets that lie off the map by known amounts. 30 ms early or late is a feel (house choice), and never fails."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from analysis.band.render import Stem, mix_stems, render_stems
from analysis.band.score import steady, write_score
from analysis.core.thresholds import Limits
from analysis.delivery.check_results import Check
from analysis.delivery.fits_originals import fits_originals
from analysis.delivery.verify import verify_set
from analysis.delivery.verify_rhythm import on_map
from analysis.features.feature_arrays import Features, MusicFeatures
from analysis.maps.tempo_map import TempoMap
from tests import signals
from tests.analysis.encoded import write_sound

RATE_HZ, BPM = 48_000, 128
BEAT_S = 60 / BPM
FORM = (("intro", 4), ("verse", 8), ("chorus", 8), ("outro", 4))
PLAN = steady("Line", 5, BPM, form=FORM, players=("drums",), feel="straight")


@cache
def drums() -> Stem:
    return render_stems(write_score(PLAN), RATE_HZ)["drums"]


@cache
def band() -> Stem:
    return mix_stems(render_stems(write_score(replace(PLAN, players=("bass", "keys", "lead"))), RATE_HZ))


@cache
def song_map() -> TempoMap:
    return TempoMap.constant(BPM, "4/4", write_score(PLAN).truth.bar_one_s)


def moved(sound: Stem, seconds: float) -> Stem:
    return np.roll(sound, round(seconds * RATE_HZ), axis=0)


def features_of(sound: Stem) -> Features:
    music = MusicFeatures(RATE_HZ, sound.shape[1])
    music.add(sound)
    return music.finish()


def against_map(seconds: float) -> Check:
    (check,) = on_map({"OHL": features_of(moved(drums(), seconds))}, song_map(), Limits())
    return check


@pytest.mark.parametrize("seconds", [-0.03, -0.02, -0.005, 0.0, 0.012, 0.02, 0.03])
def test_a_feel_passes_and_is_said(seconds: float) -> None:
    check = against_map(seconds)

    assert check.passed
    assert check.value == pytest.approx(1000 * seconds, abs=3.0)


@pytest.mark.parametrize("seconds", [-0.15, -0.06, 0.05, 0.08, 0.15])
def test_a_steady_distance_from_the_beats_fails_and_is_said(seconds: float) -> None:
    check = against_map(seconds)

    assert not check.passed
    assert check.value == pytest.approx(1000 * seconds, abs=3.0)
    assert "not on the tempo map" in check.message


def test_between_the_beats_it_says_that_it_cannot_tell() -> None:
    """Half a beat off: straight eighths lie on the beat all the same."""
    check = against_map(BEAT_S / 2)

    assert (check.passed, check.value) == (True, None)
    assert "Can't tell" in check.message


def test_strokes_in_a_free_passage_are_held_against_nothing() -> None:
    """10 bars on the map, then 44 bars 100 ms late: they speak against it unless the map is free there."""
    split = 10 * 4 * BEAT_S
    sound = strokes(400.0, (0, 1, 2, 3), bars=54)
    sound[round(split * RATE_HZ) :] = moved(sound, 0.1)[round(split * RATE_HZ) :]
    features = {"OHL": features_of(sound)}
    first = {"bar": 1, "time_s": 0, "bpm": BPM, "meter": "4/4"}
    rest = {"bar": 11, "time_s": split, "bpm": BPM, "meter": "3/4", "free": True}

    (held,) = on_map(features, TempoMap.from_json({"segments": [first]}), Limits())
    (free,) = on_map(features, TempoMap.from_json({"segments": [first, rest]}), Limits())
    (never,) = on_map(features, TempoMap.from_json({"segments": [first | {"free": True}]}), Limits())

    assert (held.passed, held.value) == (False, pytest.approx(100, abs=5))
    assert free.passed
    assert abs(free.value) < 5
    assert never.value is None
    assert "too few hits to compare" in never.message


def test_a_printed_click_does_not_stand_for_the_drums() -> None:
    click = signals.click_track(bpm=BPM, beats=64, amplitude=0.9).samples
    (check,) = on_map({"Click": features_of(click)}, TempoMap.constant(BPM), Limits())

    assert (check.passed, check.value) == (True, None)


@pytest.mark.parametrize("sound", [signals.noise(duration_s=20.0), signals.silence(duration_s=20.0)])
def test_what_holds_no_strokes_cannot_be_placed(sound: Stem) -> None:
    (check,) = on_map({"Hat": features_of(sound)}, song_map(), Limits())

    assert (check.passed, check.value) == (True, None)


@pytest.mark.parametrize("feel", ["shuffle", "off-beat", "sixteen", "waltz", "rolling"])
def test_a_take_on_the_map_passes_whatever_it_plays(feel: str) -> None:
    plan = replace(PLAN, feel=feel)
    truth = write_score(plan).truth
    sound = render_stems(write_score(plan), RATE_HZ)["drums"]
    tempo_map = TempoMap.constant(truth.bpm, truth.meter, truth.bar_one_s)

    assert all(check.passed for check in on_map({"OHL": features_of(sound)}, tempo_map, Limits()))


def strokes(hz: float, beats: tuple[int, ...], bars: int = 12) -> Stem:
    """A drum's own track: short hits on these beats (from 0) of every bar."""
    sound = np.zeros((round((bars * 4 + 2) * BEAT_S * RATE_HZ), 1))
    time = np.arange(4_800) / RATE_HZ
    hit = 0.5 * np.sin(2 * np.pi * hz * time) * np.exp(-time / 0.03)
    for bar in range(bars):
        for beat in beats:
            start = round((bar * 4 + beat) * BEAT_S * RATE_HZ)
            sound[start : start + len(hit), 0] += hit
    return np.asarray(sound, np.float32)


def loose_strokes(late_s: float, spread_s: float, seed: int) -> Stem:
    """A hit on every beat of 16 bars, scattered around a steady distance."""
    rng = np.random.default_rng(seed)
    time = np.arange(4_800) / RATE_HZ
    sound = np.zeros((round(66 * BEAT_S * RATE_HZ), 1))
    for beat in range(1, 65):
        start = round((beat * BEAT_S + late_s + rng.normal(0, spread_s)) * RATE_HZ)
        sound[start : start + len(time), 0] += 0.5 * np.sin(2 * np.pi * 400 * time) * np.exp(-time / 0.03)
    return np.asarray(sound, np.float32)


@pytest.mark.parametrize("seed", range(3))
def test_the_distance_comes_with_an_interval_that_allows_for_loose_playing(seed: int) -> None:
    """The mean of 64 strokes errs by 15 / 8 ms, so by 3.7 ms 95 times in 100; a wandering player adds to it."""
    (check,) = on_map({"SnTop": features_of(loose_strokes(0.012, 0.015, seed))}, TempoMap.constant(BPM), Limits())

    assert check.low is not None
    assert check.high is not None
    assert check.low < 12 < check.high
    assert check.value == pytest.approx((check.low + check.high) / 2, abs=0.1)
    assert 2 * 3.7 < check.high - check.low < 8 * 3.7


def test_even_playing_is_placed_closely_also_off_the_map() -> None:
    (check,) = on_map({"SnTop": features_of(loose_strokes(0.06, 0.001, 1))}, TempoMap.constant(BPM), Limits())

    assert not check.passed
    assert check.low is not None
    assert check.high is not None
    assert check.low < 60 < check.high
    assert check.high - check.low < 2.5


@pytest.mark.parametrize(("late_beats", "passed"), [(0, True), (1, False), (2, True), (3, False)])
def test_kick_and_snare_that_have_changed_places(late_beats: int, passed: bool) -> None:
    """Half a bar off, they are where they belong: that shows against the client's files alone."""
    set_of = {
        "KickIn": features_of(moved(strokes(90.0, (0, 2)), late_beats * BEAT_S)),
        "SnTop": features_of(moved(strokes(400.0, (1, 3)), late_beats * BEAT_S)),
    }
    checks = on_map(set_of, TempoMap.constant(BPM), Limits())

    assert all(check.passed for check in checks) == passed


@pytest.mark.parametrize("seconds", [0.0, 0.2, BEAT_S, 4 * BEAT_S])
def test_against_a_rough_mix_with_drums(seconds: float) -> None:
    length = min(len(drums()), len(band()))
    guide = features_of(drums()[:length] + band()[:length])
    check = fits_originals([features_of(moved(drums(), seconds))], [guide], Limits())

    assert check.passed == (seconds == 0.0)
    assert check.value == pytest.approx(1000 * seconds, abs=20.0)


@pytest.mark.parametrize("seconds", [0.0, BEAT_S])
def test_files_without_drums_never_fail_a_set(seconds: float) -> None:
    check = fits_originals([features_of(moved(drums(), seconds))], [features_of(band())], Limits())

    assert (check.passed, check.value) == (True, None)
    assert "Can't tell" in check.message


def test_too_little_to_compare() -> None:
    short = features_of(drums()[: 4 * RATE_HZ])

    assert "too short" in fits_originals([short], [short], Limits()).message
    assert "nothing to compare" in fits_originals([], [short], Limits()).message


@pytest.mark.parametrize(("late_s", "failed"), [(0.0, set()), (0.15, {"on-the-map", "fits-originals"})])
def test_the_whole_check_of_a_set_that_shares_no_sound_with_the_mix(
    tmp_path: Path, late_s: float, failed: set[str]
) -> None:
    """Other hits of the same part: what a client's programmed drums are to a take."""
    other = render_stems(write_score(replace(PLAN, seed=6)), RATE_HZ)["drums"]
    length = min(len(other), len(band()))
    rough = write_sound(tmp_path / "rough.wav", 0.4 * (other[:length] + band()[:length]))
    folder = tmp_path / "set"
    folder.mkdir()
    tracks = moved(drums(), late_s)
    paths = [write_sound(folder / f"OH{side}.wav", tracks[:, [index]]) for index, side in enumerate("LR")]
    report = verify_set(paths, map=song_map(), originals=[rough])

    assert {check.code for check in report.checks if not check.passed} == failed


def test_originals_that_hold_no_sound_are_passed_over(tmp_path: Path) -> None:
    (tmp_path / "notes.wav").write_text("see the other mail")
    folder = tmp_path / "set"
    folder.mkdir()
    paths = [write_sound(folder / "OHL.wav", drums()[:, :1])]
    report = verify_set(paths, originals=[tmp_path / "notes.wav"])

    assert report.passed
    assert report.checks[-1].message.endswith("there is nothing to compare.")

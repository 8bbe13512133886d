"""A take against its grid: offsets by band and section."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from analysis.band.render import render_stems
from analysis.band.score import steady, write_score
from analysis.core.errors import FeelError
from analysis.core.samples import Samples
from analysis.delivery.drum_hits import DrumHits, HitMeter
from analysis.delivery.feel import feel_of
from analysis.delivery.feel_report import FeelReport
from analysis.features.attacks import attacks_of
from analysis.features.strokes import struck_at
from analysis.maps.tempo_map import TempoMap
from analysis.sandbox.feel_child import feel_in_child
from tests.analysis.encoded import write_sound
from tests.analysis.playing import RATE_HZ, features_of, placed

TIME = np.arange(int(0.12 * RATE_HZ)) / RATE_HZ + 0.5 / RATE_HZ
KICK = 0.6 * np.sin(2 * np.pi * 60 * TIME) * np.exp(-TIME / 0.05)
KICK = (KICK + 0.1 * np.sin(2 * np.pi * 180 * TIME) * np.exp(-TIME / 0.01)) * (1 - TIME / TIME[-1])  # ends in silence
SNARE = np.sin(2 * np.pi * 190 * TIME) * np.exp(-TIME / 0.04)
SNARE = 0.5 * SNARE + 0.3 * np.random.default_rng(4).normal(0, 1, len(TIME)) * np.exp(-TIME / 0.03)
HAT = 0.2 * np.diff(np.random.default_rng(2).normal(0, 1, len(TIME) + 1)) * np.exp(-TIME / 0.015)


def hits_of(samples: Samples) -> DrumHits:
    meter = HitMeter(RATE_HZ)
    for start in range(0, len(samples), 10_007):  # blocks of no round length
        meter.add(samples[start : start + 10_007])
    return meter.finish()


def take(
    kick_late_s: float, hat_late_s: float, *, bars: int = 16, scatter_s: float = 0.0, trend_s: float = 0.0
) -> FeelReport:
    """Kick on beats, hat on the eighths between, at 100 BPM from 1 s on; `trend_s`: how much later the end is."""
    rng = np.random.default_rng(9)
    notes: list[tuple[float, NDArray[np.float64]]] = []
    for beat in range(4 * bars):
        at_s = 1 + beat * 0.6 + trend_s * beat / (4 * bars - 1)
        notes.append((at_s + kick_late_s + rng.normal(0, scatter_s), KICK))
        notes.append((at_s + 0.3 + hat_late_s + rng.normal(0, scatter_s), HAT))
    return feel_of(hits_of(placed(notes, 4 * bars * 0.6 + 2)), TempoMap.constant(100, "4/4", 1))


def test_a_dull_hat_is_no_beater() -> None:
    """Kicks every 0.6 s to the sample; a hat that sounds from 1 to 3 kHz, as a beater does, up to 20 ms beside each."""
    rng = np.random.default_rng(6)
    dull = 0.3 * signal.lfilter(*signal.butter(2, (1_000, 3_000), "band", fs=RATE_HZ), HAT)
    due_s = 1 + 0.6 * np.arange(40)
    late_s = rng.uniform(-0.02, 0.02, 40)
    hats = [(float(at_s), dull) for at_s in due_s + late_s]
    found_s = hits_of(placed([(float(at_s), KICK) for at_s in due_s] + hats, 27)).low_s

    off_ms = 1000 * (found_s - due_s)
    assert off_ms.std() < 2
    assert abs(np.median(off_ms)) < 4


def test_what_rings_or_leaks_below_is_no_kick() -> None:
    """Thirty kicks, each of which rises again some 120 ms later, without a beater; between them snares that leave below
    a third of what a kick does."""
    due_s = 1 + 0.8 * np.arange(30)
    ring = 0.6 * np.sin(2 * np.pi * 60 * TIME) * np.exp(-((TIME - 0.06) ** 2) / 0.0004)
    leak = SNARE + 0.3 * KICK
    notes = [
        (float(at_s) + late_s, sound) for at_s in due_s for late_s, sound in ((0.0, KICK), (0.08, ring), (0.4, leak))
    ]
    found_s = hits_of(placed(notes, 27)).low_s

    assert len(found_s) == 30
    assert np.abs(found_s - due_s).max() < 0.005


def medians(report: FeelReport) -> dict[str, float]:
    return {offsets.band: offsets.median_ms for offsets in report.overall}


@pytest.mark.parametrize(
    ("starts", "sections"),
    [
        ((), [(1, 8, 2.0), (9, 8, 12.0)]),
        ((1, 6, 9), [(1, 5, 2.0), (6, 3, 2.0), (9, 8, 12.0)]),
        ((9, 40), [(1, 8, 2.0), (9, 8, 12.0)]),  # what lies past the take begins no section of it
    ],
)
def test_sections_begin_where_those_of_the_song_do(
    starts: tuple[int, ...], sections: list[tuple[int, int, float]]
) -> None:
    """Eight bars 2 ms late, eight 12 ms late."""
    notes = [(1 + beat * 0.6 + (0.002 if beat < 32 else 0.012), HAT) for beat in range(64)]
    report = feel_of(hits_of(placed(notes, 42)), TempoMap.constant(100, "4/4", 1), starts)
    said = [(one.start_bar, one.bars, one.offsets[0].median_ms) for one in report.sections]
    assert [one[:2] for one in said] == [one[:2] for one in sections]
    assert [one[2] for one in said] == pytest.approx([one[2] for one in sections], abs=1)


def test_a_take_on_the_grid_is_on_the_grid() -> None:
    assert all(abs(median) < 1 for median in medians(take(0.0, 0.0)).values())


@pytest.mark.parametrize("late_ms", [-12.0, -3.0, 0.0, 5.0, 15.0])
def test_sharp_sounds_are_placed_within_a_millisecond(late_ms: float) -> None:
    report = take(late_ms / 1000, late_ms / 1000)

    assert list(medians(report).values()) == pytest.approx([late_ms, late_ms], abs=1)


def test_an_impulse_is_placed_within_a_millisecond_wherever_it_falls() -> None:
    frames = np.round((1 + np.arange(48) * 0.25 + np.random.default_rng(3).uniform(0, 0.001, 48)) * RATE_HZ).astype(int)
    samples = np.zeros((14 * RATE_HZ, 1))
    samples[frames] = 0.8
    features = features_of(samples)

    struck_s = struck_at(features, attacks_of(features).times_s)

    assert np.array([np.abs(struck_s - frame / RATE_HZ).min() for frame in frames]).max() < 0.001
    assert np.median([struck_s[np.abs(struck_s - frame / RATE_HZ).argmin()] - frame / RATE_HZ for frame in frames]) == (
        pytest.approx(0, abs=0.0002)
    )


def test_what_is_played_in_a_free_passage_is_left_out() -> None:
    """Bars 5 to 8 (10.6 s to 20.2 s) are free in the map; there every stroke is 60 ms late, elsewhere 5 ms."""
    rng = np.random.default_rng(9)
    notes = []
    for beat in range(48):
        late_s = 0.06 if 16 <= beat < 32 else 0.005
        notes.append((1 + beat * 0.6 + late_s + rng.normal(0, 0.001), HAT))
    segments = [
        {"bar": bar, "time_s": 1 + 2.4 * (bar - 1), "bpm": 100, "meter": "4/4", "free": bar == 5} for bar in (1, 5, 9)
    ]
    hits, tempo_map = hits_of(placed(notes, 32)), TempoMap.from_json({"segments": segments})

    report = feel_of(hits, tempo_map)
    assert sum(offsets.attacks for offsets in report.overall) in (31, 32)
    assert list(medians(report).values()) == pytest.approx([5] * len(report.overall), abs=2)

    free = TempoMap.from_json({"segments": [{"bar": 1, "time_s": 0, "bpm": 100, "meter": "4/4", "free": True}]})
    with pytest.raises(FeelError, match="free where this take plays"):
        feel_of(hits, free)


def test_a_kit_played_to_the_grid_reads_so_in_every_band() -> None:
    plan = steady("kit", 3, 100, players=("drums", "keys"), looseness_s=0.0)
    score = write_score(plan)
    drums = render_stems(score, RATE_HZ)["drums"]

    report = feel_of(hits_of(drums), score.truth.tempo_map)

    assert set(medians(report)) == {"low", "middle", "high"}
    assert all(abs(median) < 1 for median in medians(report).values())


def test_the_difference_between_kick_and_hat_is_seen() -> None:
    straight, laid_back = medians(take(0.0, 0.0)), medians(take(-0.010, 0.008))

    assert laid_back["low"] - straight["low"] == pytest.approx(-10, abs=1)
    assert laid_back["high"] - straight["high"] == pytest.approx(8, abs=1)


def test_the_spread_is_that_of_the_playing() -> None:
    """Kick and hat are drawn in turn: the hats' own spread is that of every other draw."""
    loose = {offsets.band: offsets.spread_ms for offsets in take(0.0, 0.0, scatter_s=0.006).overall}

    low, high = np.quantile(np.random.default_rng(9).normal(0, 6, 128)[1::2], [0.16, 0.84])
    assert loose["high"] == pytest.approx((high - low) / 2, abs=0.3)


@pytest.mark.parametrize("trend_ms", [-12.0, 8.0, 0.0])
def test_a_trend_over_the_song_is_said(trend_ms: float) -> None:
    """Scatter of 2 ms over 16 bars of four beats: a trend of 8 ms is ten of its errors."""
    trends = {one.band: one.trend_ms for one in take(0.0, 0.0, scatter_s=0.002, trend_s=trend_ms / 1000).overall}

    assert trends["high"] == (pytest.approx(trend_ms, abs=3) if trend_ms else None)


def test_strokes_that_fall_together_do_not_pull_each_other() -> None:
    """Kick and snare on every beat, the snare 8 ms after the kick; every other kick alone."""
    notes = [(1 + beat * 0.6, KICK) for beat in range(64)]
    notes += [(1 + beat * 0.6 + 0.008, SNARE) for beat in range(1, 64, 2)]
    report = feel_of(hits_of(placed(notes, 41)), TempoMap.constant(100, "4/4", 1))

    assert medians(report)["low"] == pytest.approx(0, abs=1.5)
    assert medians(report)["middle"] == pytest.approx(8, abs=1)


def test_a_file_is_measured_in_a_child(tmp_path: Path) -> None:
    notes = [(1 + beat * 0.6, SNARE if beat % 2 else KICK) for beat in range(32)]
    path = write_sound(tmp_path / "take.wav", placed(notes, 21), RATE_HZ)
    silence = write_sound(tmp_path / "silence.wav", np.zeros((RATE_HZ, 1)), RATE_HZ)
    tempo_map = TempoMap.constant(100, "4/4", 1).to_json()

    report = feel_in_child(path, map=tempo_map)

    assert isinstance(report, FeelReport)
    assert medians(report)["middle"] == pytest.approx(0, abs=1)
    assert feel_in_child(silence, map=tempo_map) == "there is too little sound in this take to measure"


def test_sections_are_eight_bars_long() -> None:
    report = take(0.0, 0.0, bars=16)

    assert [section.start_bar for section in report.sections] == [1, 9]


def test_a_silent_take_is_refused() -> None:
    with pytest.raises(FeelError):
        feel_of(hits_of(np.zeros((RATE_HZ, 1))), TempoMap.constant(100))

"""Count-in, pickup and bar one, laid out from the chosen reading."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.bars.layout import lay_out, with_odd_bars
from analysis.tempo.evidence import Evidence, pool
from tests.analysis.playing import RATE_HZ, band, features_of, placed, pluck

BEAT_S = 0.5
START_S = 3.0


def evidence(*extra: tuple[float, float]) -> Evidence:
    """A band from `START_S` on, and single plucks (time, semitones) before it."""
    music = band(START_S + np.arange(49) * BEAT_S)
    before = placed([(time, pluck(tone)) for time, tone in extra], len(music) / RATE_HZ)
    pooled = pool([features_of(music + before[: len(music)])])
    assert pooled is not None
    return pooled


def test_music_that_starts_on_the_downbeat() -> None:
    layout = lay_out(evidence(), period_s=BEAT_S, downbeat_s=START_S, beats_per_bar=4)

    assert layout.bar_one_s == pytest.approx(START_S)
    assert (layout.pickup_beats, layout.count_in_beats) == (0.0, 0)
    assert layout.downbeats_s[0] == pytest.approx(START_S)


@pytest.mark.parametrize("beats", [0.5, 1.0, 2.0])
def test_a_pickup_lies_before_bar_one(beats: float) -> None:
    notes = [(START_S - at * BEAT_S, 40.0) for at in np.arange(beats, 0, -0.5)]

    layout = lay_out(evidence(*notes), period_s=BEAT_S, downbeat_s=START_S, beats_per_bar=4)

    assert layout.bar_one_s == pytest.approx(START_S)
    assert layout.pickup_beats == beats
    assert layout.beats_s[0] == pytest.approx(START_S - np.ceil(beats) * BEAT_S)


def test_a_song_that_begins_with_a_rest_has_bar_one_before_its_first_sound() -> None:
    layout = lay_out(evidence(), period_s=BEAT_S, downbeat_s=START_S - BEAT_S, beats_per_bar=4)

    assert layout.bar_one_s == pytest.approx(START_S - BEAT_S)
    assert layout.pickup_beats == 0


def test_beats_run_to_the_bar_line_that_ends_the_song() -> None:
    layout = lay_out(evidence(), period_s=BEAT_S, downbeat_s=START_S, beats_per_bar=4)

    assert layout.downbeats_s[-1] == pytest.approx(START_S + 48 * BEAT_S)
    assert np.diff(layout.beats_s) == pytest.approx(BEAT_S)


@pytest.mark.parametrize(("last_beat", "bars"), [(47.0, 13), (45.0, 12), (46.0, 12), (46.5, 13)])
def test_with_a_short_bar_the_count_goes_to_the_last_onset(last_beat: float, bars: int) -> None:
    """Five bars of four and one of two end at beat 22; what is left is counted from there, not from even bars."""
    even = lay_out(evidence(), period_s=BEAT_S, downbeat_s=START_S, beats_per_bar=4)

    layout = with_odd_bars(
        even, [(START_S + 22 * BEAT_S, 2)], last_s=START_S + last_beat * BEAT_S, period_s=BEAT_S, beats_per_bar=4
    )

    assert layout.bar_beats[:7] == (4, 4, 4, 4, 4, 2, 4)
    assert len(layout.bar_beats) == bars == len(layout.downbeats_s) - 1
    assert layout.downbeats_s[-1] == pytest.approx(layout.beats_s[-1])

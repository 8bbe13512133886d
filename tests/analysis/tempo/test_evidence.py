"""Several files' evidence on one time axis."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.tempo.evidence import pool, pooled_attacks
from tests.analysis.playing import RATE_HZ, features_of, placed, pluck

LOW = features_of(placed([(0.5 + index, pluck(7)) for index in range(4)], 6))
HIGH = features_of(placed([(1.0 + index, pluck(24)) for index in range(4)], 5))


def test_onsets_of_all_files_are_in_order_and_know_their_file() -> None:
    music = pool([LOW, HIGH])

    assert music is not None
    assert (np.diff(music.onset_s) >= 0).all()
    for file, times in ((0, 0.5 + np.arange(4)), (1, 1.0 + np.arange(4))):
        strong = (music.onset_file == file) & ~music.onset_is_bass & (music.onset_weight > 0.3)
        assert music.onset_s[strong] == pytest.approx(times, abs=0.005)


def test_the_axis_is_as_long_as_the_longest_file_and_the_span_is_that_of_the_sound() -> None:
    music = pool([HIGH, LOW])

    assert music is not None
    assert music.frame_s[-1] == pytest.approx(6, abs=0.02)
    assert music.strength.shape == music.energy_db.shape
    assert music.chroma.shape == music.bass.shape == (len(music.harmony_s), 12)
    assert music.first_sound_s == pytest.approx(0.5, abs=0.005)
    assert 4.0 < music.last_sound_s < 4.8


def test_silence_has_no_evidence() -> None:
    assert pool([features_of(np.zeros((2 * RATE_HZ, 1)))]) is None
    assert pool([]) is None


def test_on_another_clock_every_time_is_moved() -> None:
    music = pool([LOW])
    assert music is not None

    warped = music.warped(lambda times_s: 2 * times_s + 1)

    assert warped.onset_s == pytest.approx(2 * music.onset_s + 1)
    assert warped.frame_s == pytest.approx(2 * music.frame_s + 1)
    assert warped.harmony_s == pytest.approx(2 * music.harmony_s + 1)
    assert warped.first_sound_s == pytest.approx(2 * music.first_sound_s + 1)
    assert warped.strength is music.strength


def test_the_attacks_alone_are_those_of_the_evidence() -> None:
    music, attacks = pool([LOW, HIGH]), pooled_attacks([LOW, HIGH])

    assert music is not None
    assert list(attacks.time_s) == list(music.onset_s)
    assert list(attacks.weight) == list(music.onset_weight)
    assert len(pooled_attacks([]).time_s) == 0

from __future__ import annotations

import numpy as np
import pytest

from analysis.features.bands import BAND_COUNT
from analysis.features.feature_arrays import Features
from analysis.form.song_sound import hear, is_peak, strong_peak
from tests.analysis.form.played import clock_of, drum_features


def file_of(strokes: dict[int, dict[str, tuple[float, ...]]]) -> Features:
    return drum_features(clock_of(4), strokes)


def test_three_files_are_three_players_and_one_file_is_heard_by_its_bands() -> None:
    kick, snare, hat = (file_of({1: {drum: (1, 3)}}) for drum in ("kick", "snare", "hat"))

    assert hear([kick, snare, hat]).struck.shape[1] == 3
    assert hear([kick]).struck.shape[1] == BAND_COUNT


def test_strokes_are_in_shares_of_a_players_strong_ones() -> None:
    sound = hear([file_of({1: {drum: (1, 3)}}) for drum in ("kick", "snare", "hat")])

    struck = sound.struck.max(axis=0)
    assert struck == pytest.approx([1.0, 1.0, 1.0])
    assert (sound.struck[:, 0] > 0).sum() == 2


def test_levels_of_files_add_up_as_power() -> None:
    kick = file_of({1: {"kick": (1, 3)}})

    one, two = hear([kick]), hear([kick, kick])

    assert two.level_db[2] - one.level_db[2] == pytest.approx(10 * np.log10(2), abs=1e-3)


def test_a_silent_file_has_no_strokes() -> None:
    sound = hear([file_of({})])

    assert sound.struck.max() == 0
    assert sound.frames == 901


def test_peaks_are_the_highest_of_their_surroundings() -> None:
    strength = np.zeros(20)
    strength[[4, 6, 12]] = [1.0, 2.0, 0.5]

    assert np.flatnonzero(is_peak(strength)).tolist() == [6, 12]
    assert strong_peak(np.zeros(20)) == 1.0

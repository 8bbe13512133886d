from __future__ import annotations

import numpy as np
import pytest

from analysis.form.drum_strokes import drum_jumps
from analysis.form.slots import Slots, lay_slots
from analysis.form.song_sound import hear
from tests.analysis.form.played import DRUMS, clock_of, drum_features

CLOCK = clock_of(4)
BEAT = {"kick": (1, 3), "snare": (2, 4), "hat": (1, 1.5, 2, 2.5, 3, 3.5, 4, 4.5)}
FILE = drum_features(CLOCK, dict.fromkeys(range(1, 5), BEAT))


def grid() -> Slots:
    return next(lay_slots(CLOCK, hear([FILE])))


def test_each_drum_jumps_in_its_bands_by_its_amplitude() -> None:
    jumps = drum_jumps(grid(), [FILE])[1]

    assert jumps[0, 0] == pytest.approx(DRUMS["kick"][0], rel=1e-3)
    assert jumps[4, 4] == pytest.approx(DRUMS["snare"][4], rel=1e-3)
    assert jumps[2, 5] == pytest.approx(DRUMS["hat"][5], rel=1e-3)
    assert jumps[4, 0] == pytest.approx(0, abs=1e-3)


def test_files_of_single_drums_are_one_kit() -> None:
    files = [drum_features(CLOCK, {bar: {drum: beats} for bar in range(1, 5)}) for drum, beats in BEAT.items()]

    assert np.allclose(drum_jumps(grid(), files)[1:, :, 0], drum_jumps(grid(), [FILE])[1:, :, 0], atol=1e-3)


def test_what_stays_as_loud_as_it_has_become_is_no_drum() -> None:
    level = FILE.band_energy_db.copy()
    level[100:, 0] = 0.0  # a bass note from the third beat on
    held = drum_features(CLOCK, {})
    held.band_energy_db[:] = level

    assert drum_jumps(grid(), [held])[0, 8, 0] == pytest.approx(0, abs=1e-3)

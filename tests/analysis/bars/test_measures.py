"""From readings to a song's numbers. Whole songs are measured in `tests/analysis/measuring/test_song.py`."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.bars.measures import with_music
from analysis.bars.statements import Statements
from analysis.tempo.evidence import pool
from tests.analysis.onsets import onset_evidence
from tests.analysis.playing import RATE_HZ, band, features_of


def test_a_band_that_keeps_time_is_laid_out_from_its_first_beat() -> None:
    music = pool([features_of(band(0.5 + np.arange(97) * 0.5))])
    assert music is not None

    song = with_music(music, Statements(), RATE_HZ)

    assert (song.tempo.kind, song.tempo.bpm, song.meter.beats_per_bar) == ("constant", 120.0, 4)
    assert song.bar_one.time_s == pytest.approx(0.5, abs=0.01)
    assert np.diff(song.downbeats_s) == pytest.approx(2.0)


def test_attacks_at_random_have_no_grid() -> None:
    onset_s = np.sort(np.random.default_rng(2).uniform(0.5, 60, 150))

    song = with_music(onset_evidence(onset_s), Statements(), RATE_HZ)

    assert song.tempo.kind == "none" or song.bar_one.confidence <= 0.5

"""A chart drafted in a child is the chart drafted here."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from analysis.core.errors import SongNotMeasuredError
from analysis.maps.tempo_map import TempoMap
from analysis.measuring.chart import draft_song
from analysis.sandbox.chart_child import draft_song_in_child
from tests.analysis.playing import band, song_file

GIVEN = TempoMap.constant(120, "4/4", 0.5)


def test_the_child_drafts_the_same_chart(tmp_path: Path) -> None:
    file = song_file(band(0.5 + np.arange(33) * 0.5))
    features = tmp_path / "music.npz"
    file.features.save(features)

    assert draft_song_in_child([(file.report, features)], GIVEN.to_json()) == draft_song([file], GIVEN)


def test_features_that_are_none_are_an_error_with_a_reason(tmp_path: Path) -> None:
    file = song_file(np.zeros((480, 1)))
    broken = tmp_path / "music.npz"
    broken.write_bytes(b"no features")

    with pytest.raises(SongNotMeasuredError):
        draft_song_in_child([(file.report, broken)])

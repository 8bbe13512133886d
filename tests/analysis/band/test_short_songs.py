from pathlib import Path

import numpy as np
import pytest
import soundfile

from analysis.band.render import MIX_PEAK
from analysis.band.short_songs import SHORT_SONG_BY_SLUG, SHORT_SONGS, DrumTake, render_take
from analysis.band.songs import SONGS
from analysis.delivery import verify_set
from analysis.maps.tempo_map import TempoMap


@pytest.fixture(scope="module")
def take(tmp_path_factory: pytest.TempPathFactory) -> DrumTake:
    return render_take(SHORT_SONGS[0], tmp_path_factory.mktemp("take"))


def test_slugs_seeds_and_titles_are_not_those_of_the_long_songs() -> None:
    every = (*SONGS, *SHORT_SONGS)
    assert len(SHORT_SONG_BY_SLUG) == len(SHORT_SONGS)
    for names in ({song.slug for song in every}, {song.plan.seed for song in every}, {song.title for song in every}):
        assert len(names) == len(every)


def test_a_take_passes_every_check_of_a_delivery(take: DrumTake) -> None:
    bpm = SHORT_SONGS[0].brief.bpm
    report = verify_set(list(take.tracks), map=TempoMap.constant(str(bpm)), against=take.rough_mix)

    assert len(take.tracks) == 4
    assert [check for check in report.checks if not check.passed] == []


def test_the_mix_leaves_room_and_another_take_sounds_different(take: DrumTake, tmp_path: Path) -> None:
    mix, _ = soundfile.read(take.rough_mix)
    again, _ = soundfile.read(render_take(SHORT_SONGS[0], tmp_path, number=2).rough_mix)

    assert 0.1 < np.abs(mix).max() < MIX_PEAK
    assert mix.shape != again.shape or not np.allclose(mix, again, atol=0.01)

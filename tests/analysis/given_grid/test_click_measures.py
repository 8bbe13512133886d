"""A click's grid as the song's grid. With whole songs: `test_click_fit.py`."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.bars.statements import Statements
from analysis.core.samples import Doubles
from analysis.given_grid.click_measures import with_click
from analysis.given_grid.click_track import ClickTrack
from tests.analysis.onsets import onset_evidence
from tests.analysis.playing import RATE_HZ

NOTHING_STATED = Statements()


def click_of(
    clicks_s: Doubles, *, per_bar: int | None = 4, per_beat: int = 1, period_s: float | None = None
) -> ClickTrack:
    accents = np.arange(len(clicks_s)) % per_bar == 0 if per_bar else np.zeros(len(clicks_s), bool)
    return ClickTrack(clicks_s, accents, period_s, 1e-6, 0.0001, per_bar, per_beat, 1.0, ())


def steady(count: int, *, start_s: float = 1.0, period_s: float = 0.5) -> Doubles:
    return start_s + period_s * np.arange(count, dtype=np.float64)


def test_accents_give_bar_one_and_a_round_tempo_is_exact() -> None:
    song = with_click(click_of(steady(33), period_s=0.500001), None, NOTHING_STATED, RATE_HZ)

    assert (song.tempo.kind, song.tempo.bpm_exact, song.tempo.source) == ("constant", "120", "click")
    assert (song.bar_one.time_s, song.bar_one.frame, song.meter.beats_per_bar) == (1.0, RATE_HZ, 4)
    # Nine accents: each in its place is one more witness.
    assert song.meter.confidence == pytest.approx(1 - 0.5 / 10)


def test_thirds_of_the_beat_make_a_compound_meter() -> None:
    song = with_click(
        click_of(steady(49, period_s=0.25), per_bar=6, per_beat=3, period_s=0.25), None, NOTHING_STATED, RATE_HZ
    )

    assert (song.meter.beats_per_bar, song.meter.beat_unit) == (6, 8)
    assert song.tempo.bpm == 80


def test_the_clicks_grid_is_carried_on_to_where_the_music_begins_and_ends() -> None:
    music = onset_evidence(steady(60))

    song = with_click(click_of(steady(33, start_s=5.0), period_s=0.5), music, NOTHING_STATED, RATE_HZ)

    assert song.bar_one.time_s == pytest.approx(1.0)
    assert song.beats_s[-1] >= 1.0 + 0.5 * 59
    assert np.diff(song.beats_s) == pytest.approx(0.5)


def test_a_click_that_changes_its_tempo_becomes_a_map() -> None:
    clicks_s = np.concatenate([steady(32), 17.0 + 0.6 * np.arange(33)])

    song = with_click(click_of(clicks_s), None, NOTHING_STATED, RATE_HZ)

    assert song.tempo.kind == "map"
    assert [(one.bar, one.bpm) for one in song.tempo_map] == [(1, 120.0), (9, 100.0)]


@pytest.mark.parametrize(("period_s", "doubt"), [(0.5, 0.025), (1.2, 0.1)])
def test_without_accents_the_level_is_in_doubt_and_half_and_double_are_offered(period_s: float, doubt: float) -> None:
    click = click_of(steady(33, period_s=period_s), per_bar=None, period_s=period_s)

    song = with_click(click, None, NOTHING_STATED, RATE_HZ)

    bpm = 60 / period_s
    assert song.tempo.confidence == pytest.approx((1 - 0.5 / 33) * (1 - 2 * doubt), abs=1e-4)
    assert [(other.label, other.bpm) for other in song.tempo.alternatives] == [("half", bpm / 2), ("double", bpm * 2)]
    assert (song.meter.beats_per_bar, song.meter.confidence) == (4, 0.6)

"""A chart from a song's files: on a given map, or on the bars that are measured."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.core.chart_draft import ChartDraft, MeterChange
from analysis.maps.tempo_map import TempoMap
from analysis.measuring.chart import draft_song
from tests.analysis.clicks import render_click
from tests.analysis.playing import band, song_file

BARS, BEAT_S, START_S = 16, 0.5, 0.5
BEATS_S = START_S + np.arange(BARS * 4 + 1) * BEAT_S
GIVEN = TempoMap.constant(120, "4/4", START_S)


def test_a_chart_is_drafted_on_the_bars_that_are_measured() -> None:
    draft = draft_song([song_file(band(BEATS_S))])

    assert draft.bars == BARS
    assert draft.downbeats_s[:2] == pytest.approx([START_S, START_S + 4 * BEAT_S], abs=0.02)
    assert sum(section.bars for section in draft.sections) == BARS


def test_a_given_map_says_where_bars_are() -> None:
    """The map counts half as many, twice as long bars, in 8/4."""
    draft = draft_song([song_file(band(BEATS_S))], TempoMap.constant(120, "8/4", START_S))

    assert (draft.bars, draft.meters) == (BARS // 2, (MeterChange(1, "8/4"),))


def test_a_click_and_a_second_copy_do_not_play_in_the_band() -> None:
    music = song_file(band(BEATS_S), "mix.wav")
    click = song_file(render_click(GIVEN, bars=BARS), "click.wav")
    alone = draft_song([music], GIVEN)

    assert draft_song([music, click], GIVEN).sections == alone.sections


def test_silence_and_no_file_give_an_empty_draft() -> None:
    assert draft_song([song_file(np.zeros((48_000, 1)))]) == ChartDraft()
    assert draft_song([], GIVEN) == ChartDraft()

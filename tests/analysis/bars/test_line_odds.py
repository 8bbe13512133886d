"""The odds that a bar begins on a beat, in songs by our own band, which no weight was fitted on."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.band.render import mix_stems, render_stems
from analysis.band.score import steady, write_score
from analysis.bars.bar_evidence import SIGNALS, bar_signals
from analysis.bars.beat_table import beat_table, prepare
from analysis.bars.line_odds import line_numbers, line_odds, number_names
from analysis.tempo.evidence import pool
from tests.analysis.onsets import even_beats, onset_evidence
from tests.analysis.playing import features_of

RATE_HZ = 44_100


@pytest.mark.parametrize(("feel", "beats"), [("straight", 4), ("waltz", 3)])
def test_bar_lines_have_the_best_odds(feel: str, beats: int) -> None:
    score = write_score(steady("lines", 3, 120, feel=feel, form=(("verse", 8), ("chorus", 8))))
    music = pool([features_of(mix_stems(render_stems(score, RATE_HZ)), RATE_HZ)])
    assert music is not None
    lines_s = np.array(score.truth.downbeats_s)
    table = beat_table(prepare(music), 0.5, float(lines_s[0]))
    assert table is not None

    odds = line_odds(table, beats)

    is_line = np.abs(table.beat_s[:, None] - lines_s[None, :]).min(axis=1) < 0.05
    # At random it would be one in `beats`; four in five is a house choice.
    likeliest = [int(np.argmax(odds[first : first + beats])) for first in np.flatnonzero(is_line)[:-1]]
    assert np.mean(np.array(likeliest) == 0) > 0.8


def test_each_number_is_a_signal_some_beats_away() -> None:
    table = beat_table(prepare(onset_evidence(even_beats(120, 32))), 0.5, 0.5)
    assert table is not None
    numbers, signals = line_numbers(table, 2), bar_signals(table)

    assert numbers.shape == (len(table.beat_s), len(number_names(2))) == (len(table.beat_s), 5 * len(SIGNALS))
    later = number_names(2).index(f"{SIGNALS[3]} +1")
    assert numbers[4, later] == pytest.approx(np.clip(signals[3, 5], -3, 4))
    # Before the first beat comes the second, mirrored.
    earlier = number_names(2).index(f"{SIGNALS[3]} -1")
    assert numbers[0, earlier] == pytest.approx(np.clip(signals[3, 1], -3, 4))

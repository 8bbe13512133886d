from fractions import Fraction

import pytest

from analysis.band.clock import Drift, Step
from analysis.band.score import SongPlan, steady, write_score


def test_a_constant_song_has_one_segment_and_says_so() -> None:
    truth = write_score(steady("Even", 1, Fraction("92.5"), silence_s=Fraction(1, 2))).truth

    assert truth.is_constant
    assert truth.tempo_map.to_json() == {
        "bar_one_s": 0.5,
        "segments": [{"bar": 1, "time_s": 0.5, "bpm": 92.5, "meter": "4/4"}],
    }
    assert truth.bar_one_frame(48_000) == 24_000


def test_the_tempo_of_a_compound_meter_is_that_of_dotted_quarters() -> None:
    truth = write_score(steady("Rolling", 1, 72, feel="rolling")).truth

    assert truth.bpm == 72
    assert truth.quarter_bpm == 108
    assert truth.downbeats_s[1] == pytest.approx(2 * 60 / 72)


def test_a_step_gives_two_segments() -> None:
    truth = write_score(SongPlan("Stepped", 1, Step(Fraction(96), Fraction(108), at_bar=5))).truth

    assert [(part.bar, float(part.bpm)) for part in truth.tempo_map.segments] == [(1, 96), (5, 108)]
    assert truth.tempo_map.segments[1].time_s == 16 * Fraction(60, 96)
    assert not truth.is_constant


def test_an_odd_bar_is_in_the_map_and_ends_constancy() -> None:
    truth = write_score(steady("Odd", 1, 120, odd_bars=((3, "2/4"),))).truth

    assert [(part.bar, str(part.meter)) for part in truth.tempo_map.segments] == [(1, "4/4"), (3, "2/4"), (4, "4/4")]
    assert truth.downbeats_s[:5] == pytest.approx([0, 2, 4, 5, 7])
    assert not truth.is_constant


def test_the_map_of_a_drift_leads_to_every_bar_line() -> None:
    truth = write_score(SongPlan("Adrift", 1, Drift(Fraction(84)))).truth

    for bar in range(1, truth.bars + 1):
        assert truth.tempo_map.time_of_bar(bar) == truth.clock.time_of_bar(bar)


def test_sections_follow_each_other_without_a_gap() -> None:
    truth = write_score(steady("Form", 1, 112)).truth

    assert [part.start_bar for part in truth.sections] == [1, 5, 13, 21, 29, 37]
    assert sum(part.bars for part in truth.sections) == truth.bars == 40


def test_beats_hold_the_count_in_and_downbeats_do_not() -> None:
    plan = steady("Counted", 1, 120, players=("bass", "click"), count_in_bars=2)
    truth = write_score(plan).truth

    assert truth.beats_s[:2] == (0.0, 0.5)
    assert truth.downbeats_s[0] == float(truth.bar_one_s) == 4.0
    assert len(truth.beats_s) == 8 + 160 + 1

from fractions import Fraction

import pytest

from analysis.band.clock import Drift, Rubato
from analysis.band.score import SongPlan, steady, write_score
from analysis.band.truth import Truth
from bench.scores import Reading, f_measure, score


def truth(bpm: int = 112) -> Truth:
    return write_score(steady("Scored", 1, bpm, silence_s=Fraction(1))).truth


def perfect(known: Truth) -> Reading:
    return Reading(
        bpm=float(known.bpm),
        beats_s=known.beats_s,
        downbeats_s=known.downbeats_s,
        bar_one_s=float(known.bar_one_s),
        meter=known.meter,
        kind="constant",
        offered_bpm=(float(known.bpm),),
        interval_bpm=(111.99, 112.01),
        confidence=0.97,
    )


def test_the_truth_itself_scores_everything() -> None:
    assert set(score(truth(), perfect(truth())).values()) == {1.0}


@pytest.mark.parametrize(
    ("bpm", "accuracy_1", "accuracy_2"),
    [(116.48, 1, 1), (116.49, 0, 0), (107.52, 1, 1), (107.51, 0, 0), (56, 0, 1), (224, 0, 1), (37.333, 0, 1),
     (336, 0, 1), (58.24, 0, 1), (74.667, 0, 0)],
)  # fmt: skip
def test_the_four_per_cent_window_includes_its_borders(bpm: float, accuracy_1: int, accuracy_2: int) -> None:
    # Source: Gouyon et al. 2006, accuracy 1 and 2 (from memory), at 112; 2:3 is no level.
    scores = score(truth(), Reading(bpm=bpm, beats_s=()))

    assert (scores["4%"], scores["4%lvl"]) == (accuracy_1, accuracy_2)


@pytest.mark.parametrize(
    ("bpm", "right", "at_a_level"),
    [(112.02, 1, 1), (112.021, 0, 0), (56, 0, 1), (224.04, 0, 1), (112 / 3, 0, 1), (74.667, 0, 0)],
)
def test_the_narrow_window_is_two_hundredths_at_the_level_of_the_truth(bpm: float, right: int, at_a_level: int) -> None:
    scores = score(truth(), Reading(bpm=bpm, beats_s=()))

    assert (scores["<.02"], scores[".02lvl"]) == (right, at_a_level)


def test_beats_late_by_thirty_milliseconds_pass_the_wide_window_only() -> None:
    known = truth()
    late = tuple(beat + 0.03 for beat in known.beats_s)

    assert f_measure(known.beats_s, late, 0.07) == 1
    assert f_measure(known.beats_s, late, 0.02) == 0


def test_half_of_the_beats_give_two_thirds() -> None:
    # Source: arithmetic; precision 1, recall 1/2.
    known = truth()

    assert f_measure(known.beats_s, known.beats_s[1::2], 0.07) == pytest.approx(2 / 3, abs=0.01)


def test_no_answer_scores_nothing_and_says_nothing_of_the_rest() -> None:
    scores = score(truth(), Reading(bpm=None, beats_s=()))

    assert scores == {"<.02": 0, ".02lvl": 0, "4%": 0, "4%lvl": 0, "F70": 0, "F20": 0}


def test_bar_one_a_beat_late_is_wrong_and_being_sure_of_it_is_counted() -> None:
    known = truth()
    late = Reading(
        bpm=112.0,
        beats_s=known.beats_s,
        downbeats_s=tuple(known.beats_s[1::4]),
        bar_one_s=float(known.bar_one_s) + 60 / 112,
        meter="4/4",
        kind="constant",
        confidence=0.96,
    )
    scores = score(known, late)

    assert (scores["bar1"], scores["sure"], scores["right"]) == (0, 1, 0)


def test_moving_songs_have_no_one_tempo_to_score() -> None:
    known = write_score(SongPlan("Adrift", 1, Drift(Fraction(84)))).truth
    scores = score(known, perfect(known))

    assert "<.02" not in scores
    assert scores["kind"] == 0
    assert scores["F20"] == 1


def test_free_music_is_only_asked_for_a_grid() -> None:
    known = write_score(SongPlan("Free", 1, Rubato(Fraction(70)))).truth

    assert score(known, perfect(known)) == {"kind": 0}
    assert score(known, Reading(bpm=None, beats_s=(), kind="none")) == {"kind": 1}

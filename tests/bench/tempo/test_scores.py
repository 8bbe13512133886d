from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from analysis.band.clock import Drift, Rubato
from analysis.band.score import SongPlan, steady, write_score
from analysis.band.truth import Truth
from bench.tempo.known import Known, known_of
from bench.tempo.own_songs import line_of
from bench.tempo.scores import Reading, bpm_of_line, f_measure, score


def known(truth: Truth, **special: object) -> Known:
    return known_of(line_of("scored", "songs", truth) | special, Path())


def truth(bpm: int = 112, **special: object) -> Known:
    return known(write_score(steady("Scored", 1, bpm, silence_s=Fraction(1))).truth, **special)


def perfect(known: Known) -> Reading:
    return Reading(
        bpm=known.bpm,
        beats_s=known.beats_s or (),
        downbeats_s=known.downbeats_s,
        bar_one_s=known.bar_one_s,
        meter=known.meter,
        kind="constant",
        offered_bpm=(float(known.bpm),),
        interval_bpm=(111.99, 112.01),
        confidences=(0.97, 0.98, 0.99),
    )


def test_the_truth_itself_scores_everything() -> None:
    scores = score(truth(), perfect(truth()))

    assert scores.pop("lag ms") == 0
    assert set(scores.values()) == {1.0}


@pytest.mark.parametrize(
    ("bpm", "right", "at_a_level"),
    [(112.02, 1, 1), (112.021, 0, 0), (56, 0, 1), (224.04, 0, 1), (112 / 3, 0, 1), (74.667, 0, 0)],
)
def test_the_narrow_window_is_two_hundredths_at_the_level_of_the_truth(bpm: float, right: int, at_a_level: int) -> None:
    scores = score(truth(), Reading(bpm=bpm, beats_s=()))

    assert (scores["<.02"], scores[".02lvl"]) == (right, at_a_level)


def test_each_window_is_scored_at_the_level_and_up_to_it() -> None:
    scores = score(truth(), Reading(bpm=56.04, beats_s=()))  # doubled 112.08: within 0.1 BPM and 1 %, not 0.02

    right = {"4%": 0, "1%": 0, "<.1": 0, "<.02": 0, "4%lvl": 1, "1%lvl": 1, ".1lvl": 1, ".02lvl": 0}
    assert {name: scores[name] for name in right} == right


def test_where_the_level_is_free_half_is_right() -> None:
    assert score(truth(octave_free=True), Reading(bpm=56.0, beats_s=()))["<.02"] == 1


def test_a_line_through_the_beats_counts_the_missed_ones() -> None:
    # Source: arithmetic; beats every half second are 120 a minute however many are missed.
    beats_s = tuple(number / 2 for number in range(40) if number not in (7, 8, 21))

    assert bpm_of_line(beats_s) == pytest.approx(120)
    assert bpm_of_line((1.0, 2.0)) is None


def beats(known: Known) -> tuple[float, ...]:
    assert known.beats_s
    return known.beats_s


def test_beats_late_by_thirty_milliseconds_pass_the_wide_window_only() -> None:
    scores = score(truth(), Reading(bpm=112.0, beats_s=tuple(beat + 0.03 for beat in beats(truth()))))

    assert (scores["F70"], scores["F20"]) == (1, 0)
    assert scores["lag ms"] == pytest.approx(30)


def test_half_of_the_beats_give_two_thirds() -> None:
    # Source: arithmetic; precision 1, recall 1/2.
    all_s = beats(truth())

    assert f_measure(all_s, all_s[1::2], 0.07) == pytest.approx(2 / 3, abs=0.01)


def test_no_answer_scores_nothing_and_says_nothing_of_the_rest() -> None:
    scores = score(truth(), Reading(bpm=None, beats_s=()))

    assert set(scores.values()) == {0}
    assert not {"kind", "meter", "bar1", "barF", "sure", "right", "listed", "inside", "lag ms"} & set(scores)


def test_bar_one_a_beat_late_is_wrong_and_being_sure_of_it_is_counted() -> None:
    song = truth()
    late = replace(perfect(song), downbeats_s=beats(song)[1::4], bar_one_s=beats(song)[1])
    scores = score(song, late)

    assert (scores["bar1"], scores["sure"], scores["right"]) == (0, 1, 0)


def test_an_interval_beside_the_true_tempo_is_counted_against_it() -> None:
    assert score(truth(), replace(perfect(truth()), interval_bpm=(112.001, 112.02)))["inside"] == 0


def test_a_click_off_by_a_constant_makes_two_readings_right() -> None:
    song = truth(click_late_s=0.045)
    late = Reading(bpm=112.0, beats_s=tuple(beat + 0.045 for beat in beats(song)))

    assert score(song, late)["F20"] == score(song, perfect(song))["F20"] == 1


@pytest.mark.parametrize(("codes", "right"), [(("start-differs", "clipped"), 1), ((), 0), (("click-differs",), 0)])
def test_the_findings_on_stems_are_those_that_are_due(codes: tuple[str, ...], right: int) -> None:
    song = truth(cat="multi", late_stem="bass.wav", late_s=0.02)

    assert score(song, replace(perfect(song), findings=codes))["found"] == right


@pytest.mark.parametrize(("meter", "right"), [("6/8", 1), ("2/4", 1), ("3/4", 0), (None, 0)])
def test_six_eight_may_be_counted_in_two(meter: str | None, right: int) -> None:
    song = truth(meter="6/8")

    assert score(song, replace(perfect(song), meter=meter))["meter"] == right


def test_moving_songs_have_no_one_tempo_to_score() -> None:
    song = known(write_score(SongPlan("Adrift", 1, Drift(Fraction(84)))).truth)
    scores = score(song, perfect(song))

    assert "<.02" not in scores
    assert scores["kind"] == 0
    assert scores["F20"] == 1


def test_free_music_is_only_asked_for_a_grid() -> None:
    song = known(write_score(SongPlan("Free", 1, Rubato(Fraction(70)))).truth)

    assert score(song, perfect(song)) == {"kind": 0}
    assert score(song, Reading(bpm=None, beats_s=(), kind="none")) == {"kind": 1}

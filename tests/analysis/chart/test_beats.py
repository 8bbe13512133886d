from fractions import Fraction

import pytest

from analysis.chart.beats import beat_json, counted, is_on_grid, mixed_beats, snapped, snapped_length
from tests.analysis.chart.charts import FOUR_FOUR, SIX_EIGHT


@pytest.mark.parametrize(
    ("measured", "meant"),
    [
        (1.0, Fraction(1)),
        (2.49, Fraction(5, 2)),
        (4.74, Fraction(19, 4)),
        (1.34, Fraction(4, 3)),
        (3.66, Fraction(11, 3)),
    ],
)
def test_a_measured_beat_goes_to_the_nearest_place_of_the_grid(measured: float, meant: Fraction) -> None:
    assert snapped(measured, FOUR_FOUR) == meant


@pytest.mark.parametrize(
    ("beat", "words"),
    # As drummers count aloud (common practice): 1 e & a, 1 trip let; in 6/8 eighths from 1 to 6.
    [("1", "1"), ("5/4", "1e"), ("5/2", "2&"), ("7/4", "1a"), ("10/3", "3 trip"), ("11/3", "3 let"), ("9/8", "1.125")],
)
def test_a_beat_is_said_as_it_is_counted(beat: str, words: str) -> None:
    assert counted(Fraction(beat), FOUR_FOUR) == words


def test_in_six_eight_the_eighths_are_counted() -> None:
    assert [counted(Fraction(beat), SIX_EIGHT) for beat in ("6", "5/2", "9/4")] == ["6", "2&", "2.25"]


def test_in_compound_meters_there_are_no_triplets() -> None:
    # 1/3 of an eighth after the beat lies nearer to the sixteenth than to any other sixteenth.
    assert snapped(4 + 1 / 3, SIX_EIGHT) == Fraction(9, 2)


def test_a_beat_never_leaves_its_bar() -> None:
    assert snapped(4.99, FOUR_FOUR) == Fraction(19, 4)
    assert snapped(0.2, FOUR_FOUR) == 1


def test_a_length_is_a_sixteenth_at_least() -> None:
    assert snapped_length(0.01, FOUR_FOUR) == Fraction(1, 4)
    assert snapped_length(0.66, FOUR_FOUR) == Fraction(2, 3)
    assert snapped_length(0.01, SIX_EIGHT) == Fraction(1, 2)


def test_sixteenths_and_triplets_do_not_share_a_quarter() -> None:
    assert mixed_beats([Fraction(1, 4), Fraction(4, 3), Fraction(7, 4)]) == [1]
    assert mixed_beats([Fraction(0), Fraction(1, 2), Fraction(4, 3)]) == []


def test_a_beat_in_json_is_exact() -> None:
    assert [beat_json(Fraction(text)) for text in ("3", "5/2", "7/3")] == [3, 2.5, "7/3"]
    assert is_on_grid(Fraction(5, 12)) is False

import pytest

from analysis.core.reports import Place
from analysis.core.sentences import fill, place_words, written


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("sample_rate_hz", 44_100, "44.1 kHz"),
        ("expected_hz", 48_000, "48 kHz"),
        ("edge_hz", 16_020.5, "16.02 kHz"),
        ("sample_peak_dbfs", -6.0206, "-6.0 dBFS"),
        ("true_peak_dbtp", 3.01, "+3.0 dBTP"),
        ("over_db", 2.345, "2.3 dB"),
        ("measured_bpm", 112.0, "112 bpm"),
        ("measured_bpm", 92.5, "92.5 bpm"),
        ("offset_ms", 25.708, "25.7 ms"),
        ("offset_frames", 1, "one sample"),
        ("offset_frames", 1_105, "1105 samples"),
        ("difference_s", 0.0123, "0.012 seconds"),
        ("difference_s", 75.0, "1:15"),
        ("places", 1, "one place"),
        ("places", 3, "3 places"),
        ("confidence", 0.97, "97 %"),
        ("confidence", 0.998, "99 %"),
        ("confidence", 1.0, "100 %"),
        ("correlation", -0.987_654, "-0.99"),
        ("codec", "mp3", "mp3"),
        ("bit_depth", None, "unknown"),
    ],
)
def test_the_unit_says_how_a_value_is_written(name: str, value: object, words: str) -> None:
    assert written(name, value) == words


@pytest.mark.parametrize(
    ("place", "words"),
    [
        (Place(), "somewhere"),
        (Place(time_s=5.25), "at 0:05.2"),
        (Place(time_s=72.4), "at 1:12"),
        (Place(time_s=3_725.0), "at 1:02:05"),
        (Place(time_s=72.4, bar=33), "at bar 33 (1:12)"),
        (Place(bar=33, beat=2.5), "at bar 33 beat 2.5"),
    ],
)
def test_places_are_in_bars_as_soon_as_there_is_a_grid(place: Place, words: str) -> None:
    assert place_words(place) == words


def test_a_sentence_begins_with_a_capital_and_quotes_the_file() -> None:
    text = fill("{file} is {places}", file=None, place=Place(), value={"places": 2})

    assert text == "The file is 2 places"
    assert fill("{file} x", file="a.wav", place=Place(), value={}) == "“a.wav” x"


def test_names_with_braces_are_only_names() -> None:
    assert fill("{file} stops", file="{reason}.wav", place=Place(), value={}) == "“{reason}.wav” stops"


def test_a_tempo_names_the_note_it_counts_where_that_is_given() -> None:
    """`other_bpm` has no beat of its own: it is a quarter, or nobody said."""
    value = {"measured_bpm": 70.0, "measured_beat": "dotted quarter", "other_bpm": 105.0}

    said = fill("{measured_bpm} or {other_bpm}.", file=None, place=Place(), value=value)
    assert said == "70 bpm (dotted quarter) or 105 bpm."

from dataclasses import replace
from fractions import Fraction

from analysis.chart.document import DRUMS, REST, RHYTHM, Bar, Hit, Note, Span
from analysis.engraving.layers import FEET, HANDS, HITS, RHYTHM_LAYER, SLASH_LAYER, Layer, is_silent, layers_of
from tests.analysis.chart.by_hand import ROCK_GROOVE
from tests.analysis.chart.charts import FOUR_FOUR, SIX_EIGHT


def _starts(layer: Layer) -> list[str]:
    """Where notes begin, in quarters from the bar line."""
    return [str(value.start) for value in layer.values if not value.is_rest and value.first]


def test_a_slash_lies_on_each_beat_that_is_felt() -> None:
    four, six = layers_of([Bar(FOUR_FOUR), Bar(SIX_EIGHT)])

    assert (four[0].kind, _starts(four[0])) == (SLASH_LAYER, ["0", "1", "2", "3"])
    assert _starts(six[0]) == ["0", "3/2"]
    assert all(value.dots for value in six[0].values)


def test_a_stop_takes_its_slashes_and_leaves_the_rest_of_a_beat() -> None:
    (layers,) = layers_of([Bar(FOUR_FOUR, stops=(Span(Fraction(5, 2), Fraction(2)),))])

    values = [(str(one.start), str(one.length), one.is_rest) for one in layers[0].values]
    assert values == [
        ("0", "1", False),
        ("1", "1/2", False),
        ("3/2", "1/2", True),
        ("2", "1", True),
        ("3", "1/2", True),
        ("7/2", "1/2", False),
    ]
    assert [one.what.stem for one in layers[0].values if not one.is_rest] == [False, True, True]


def test_drums_have_hands_and_feet_and_every_beat_shows() -> None:
    (layers,) = layers_of([Bar(FOUR_FOUR, shows=DRUMS, notes=ROCK_GROOVE)])

    hands, feet = layers
    assert (hands.kind, feet.kind) == (HANDS, FEET)
    assert _starts(hands) == ["0", "1/2", "1", "3/2", "2", "5/2", "3", "7/2"]
    assert [len(value.what) for value in hands.values] == [1, 1, 2, 1, 1, 1, 2, 1]
    assert _starts(feet) == ["0", "3/2", "2"]


def test_a_push_sounds_on_in_the_next_bar() -> None:
    push = Hit(Fraction(9, 2), Fraction(3, 2))

    first, second = layers_of([Bar(FOUR_FOUR, hits=(push,)), Bar(FOUR_FOUR)])

    assert first[1].kind == HITS
    assert first[1].ties_over
    assert [(value.length, value.first, value.tied) for value in second[1].values if not value.is_rest] == [
        (Fraction(1), False, False)
    ]


def test_a_push_over_two_bar_lines_is_tied_twice() -> None:
    push = Hit(Fraction(4), Fraction(6))

    first, second, third = layers_of([Bar(FOUR_FOUR, hits=(push,)), Bar(FOUR_FOUR), Bar(FOUR_FOUR)])

    assert [layers[1].ties_over for layers in (first, second, third)] == [True, True, False]
    assert [value.length for value in third[1].values if not value.is_rest] == [1]


def test_nothing_is_tied_into_a_bar_that_cannot_show_it() -> None:
    note = Note(Fraction(4), Fraction(2))
    rhythm = Bar(FOUR_FOUR, shows=RHYTHM, notes=(note,))

    alone = layers_of([rhythm, Bar(FOUR_FOUR)])
    last = layers_of([rhythm])

    assert alone[0][0].kind == RHYTHM_LAYER
    assert not alone[0][0].ties_over
    assert not last[0][0].ties_over


def test_a_rest_with_something_to_read_is_not_one_of_several() -> None:
    rest = Bar(FOUR_FOUR, shows=REST)

    assert is_silent(rest)
    assert not is_silent(replace(rest, held=Fraction(1)))
    assert not is_silent(Bar(FOUR_FOUR))

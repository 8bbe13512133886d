"""Spellings as common practice writes them, worked through by hand."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.chart.beats import bar_quarters, takes_triplet
from analysis.engraving.note_values import Onset, spelled
from analysis.maps.tempo_map import MeterSign

NAMES = {1: "w", 2: "h", 4: "q", 8: "e", 16: "s", 32: "t"}


def _text(meter: str, *onsets: tuple[str, str]) -> str:
    """`q` a quarter, `q.` dotted, `q~` tied, `(q)` a rest, `q3` in a triplet."""
    values = spelled([Onset(Fraction(at), Fraction(long), "x") for at, long in onsets], MeterSign.parse(meter))
    words = []
    for value in values:
        word = NAMES[value.part] + "." * value.dots + ("3" if value.triplet is not None else "") + "~" * value.tied
        words.append(f"({word})" if value.is_rest else word)
    return " ".join(words)


@pytest.mark.parametrize(
    ("meter", "onsets", "spelling"),
    [
        ("4/4", [("0", "4")], "w"),
        ("4/4", [("0", "3/2"), ("3/2", "1/2")], "q. e (h)"),
        ("4/4", [("1/2", "1"), ("3/2", "1/2")], "(e) q e (h)"),
        ("4/4", [("3/2", "1")], "(q) (e) e~ e (e) (q)"),
        ("4/4", [("1", "2")], "(q) q~ q (q)"),
        ("4/4", [("7/2", "3/2")], "(h) (q) (e) e~"),
        ("4/4", [("1/4", "3/4")], "(s) e. (q) (h)"),
        ("4/4", [("3/4", "1/4")], "(e) (s) s (q) (h)"),
        ("4/4", [("0", "1/3"), ("2/3", "1/3")], "e3 (e3) e3 (q) (h)"),
        ("4/4", [("2/3", "4/3")], "(q3) e3~ q (h)"),
        ("3/4", [("0", "1")], "q (q) (q)"),
        ("3/4", [("0", "3")], "h."),
        ("6/8", [("0", "3/2")], "q. (q.)"),
        ("6/8", [("0", "3")], "h."),
        ("6/8", [("1", "1")], "(q) e~ e (e) (e)"),
        ("6/8", [("1/2", "1")], "(e) q (q.)"),
        ("7/8", [("3", "1/2")], "(q) (q) (q) e"),
        ("5/32", [("0", "5/8")], "e~ t"),
    ],
)
def test_spells_as_a_copyist_does(meter: str, onsets: list[tuple[str, str]], spelling: str) -> None:
    assert _text(meter, *onsets) == spelling


def test_notes_within_a_beat_share_a_beam_up_to_a_rest() -> None:
    onsets = [Onset(Fraction(at), Fraction(1, 4), "x") for at in ("0", "1/4", "3/4", "1", "3/2", "7/4")]

    beams = [value.beam for value in spelled(onsets, MeterSign(4, 4)) if not value.is_rest]

    assert beams[0] == beams[1] is not None
    assert beams[2] is None  # alone after a rest
    assert beams[3] is None
    assert beams[4] == beams[5] not in (None, beams[0])


_PLACES = st.sets(st.integers(0, 47).filter(lambda step: step % 3 == 0 or step % 4 == 0), max_size=8)


@given(_PLACES, st.sampled_from(("4/4", "3/4", "6/8", "5/4", "7/8", "12/8", "2/2", "2/4")))
def test_every_bar_is_filled_exactly(places: set[int], meter_text: str) -> None:
    meter = MeterSign.parse(meter_text)
    every = [Fraction(step, 12) for step in sorted(places)]
    straight = [at for at in every if at * 4 % 1 == 0 or takes_triplet(at, meter)]
    onsets = [Onset(at, Fraction(1, 2), "x") for at in straight if at < bar_quarters(meter)]
    quarters = {int(one.start) for one in onsets if one.start * 4 % 1}
    # Sixteenths and triplets never share a quarter (`reading.py` refuses it).
    onsets = [one for one in onsets if int(one.start) not in quarters or one.start * 3 % 1 == 0]

    values = spelled(onsets, meter)

    assert sum(value.length for value in values) == bar_quarters(meter)
    assert [value.start for value in values if not value.is_rest and value.first] == [one.start for one in onsets]
    for value in values:
        # What is printed is what it lasts: 4/n quarters, times 3/2 dotted, times 2/3 in a triplet.
        printed = Fraction(4, value.part) * (Fraction(3, 2) if value.dots else 1)
        assert value.length == printed * (Fraction(2, 3) if value.triplet is not None else 1)

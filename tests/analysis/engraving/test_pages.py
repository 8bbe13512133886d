"""The page by numbers: height of staves, bars to a line, where sections begin, what lies on what."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import combinations, pairwise
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from analysis.chart.document import Bar, Chart, Dynamic, Hit, Road, Section, Tempo, Words
from analysis.engraving.drawn import Box, DrawnPage, Label, Shape, Sign
from analysis.engraving.fonts import box_of
from analysis.engraving.pages import LEAST_STAFF_MM, PAPERS, pages_of
from analysis.engraving.placing import wrapped
from tests.analysis.chart.by_hand import BY_HAND, ROCK_GROOVE, six_eight, straight_rock, waltz
from tests.analysis.chart.charts import FOUR_FOUR, SIX_EIGHT, THREE_FOUR, TWO_FOUR, bar, ds_al_coda, one_section, plain
from tests.analysis.chart.test_document import CHARTS

EVERY = [(name, paper) for name in BY_HAND for paper in ("a4", "letter", "a4-large", "screen")]
_FRAMED = ("letter", "ending")  # labels that stand inside a box or a bracket of their own


def _staff_lines(page: DrawnPage) -> list[Shape]:
    """Horizontal lines that lead from bar line to bar line."""
    lefts = [one.box.left for one in page.bars]
    found = []
    for piece in page.pieces:
        if isinstance(piece, Shape) and piece.width and len(piece.steps) == 2:
            (x1, y1), (x2, y2) = (points[0] for _, points in piece.steps)
            if y1 == y2 and any(abs(x1 - left) < 0.02 for left in lefts) and piece.width < 0.3 and x2 - x1 > 5:
                found.append(piece)
    return found


@pytest.mark.parametrize(("name", "paper"), EVERY)
def test_staves_are_as_high_as_the_page_says(name: str, paper: str) -> None:
    for page in pages_of(BY_HAND[name](), PAPERS[paper]):
        heights = {round(one.box.bottom - one.box.top, 3) for one in page.bars}
        assert heights == {round(page.staff_height, 3)}
        assert page.staff_height >= (10.0 if "large" in paper else LEAST_STAFF_MM)
        # Five lines are drawn through each bar, the outer ones at the box's edges.
        lines = _staff_lines(page)
        for one in page.bars:
            ys = sorted(
                round(line.steps[0][1][0][1] - one.box.top, 2)
                for line in lines
                if abs(line.steps[0][1][0][0] - one.box.left) < 0.01
                and one.box.top - 0.1 <= line.steps[0][1][0][1] <= one.box.bottom + 0.1
            )
            assert ys == pytest.approx([page.staff_height * step / 4 for step in range(5)], abs=0.02)


@pytest.mark.parametrize(("name", "paper"), EVERY)
def test_words_lie_on_nothing_else(name: str, paper: str) -> None:
    for page in pages_of(BY_HAND[name](), PAPERS[paper], note="version 3, 2026-11-29"):
        labels = [(piece, box_of(piece)) for piece in page.pieces if isinstance(piece, Label)]
        for (one, first), (two, second) in combinations(labels, 2):
            assert not first.overlaps(second, slack=0.1), (one.text, two.text)
        others = [(piece, box_of(piece)) for piece in page.pieces if not isinstance(piece, Label)]
        for label, box in labels:
            if label.role not in _FRAMED:
                assert [piece for piece, other in others if box.overlaps(other, slack=0.1)] == [], label.text


@pytest.mark.parametrize(("name", "paper"), EVERY)
def test_everything_is_on_the_page(name: str, paper: str) -> None:
    for page in pages_of(BY_HAND[name](), PAPERS[paper]):
        boxes = [box_of(piece) for piece in page.pieces]
        margin = 5.0
        assert min(box.left for box in boxes) >= margin
        assert min(box.top for box in boxes) >= margin
        assert max(box.right for box in boxes) <= page.width - margin
        assert max(box.bottom for box in boxes) <= page.height - margin


@pytest.mark.parametrize("name", BY_HAND)
def test_every_bar_is_on_a_page_once_in_order(name: str) -> None:
    chart = BY_HAND[name]()

    numbers = [
        number
        for page in pages_of(chart, PAPERS["a4-large"])
        for one in page.bars
        for number in range(one.first, one.last + 1)
    ]

    assert numbers == list(range(1, len(chart.bars) + 1))


def _lines(page: DrawnPage) -> list[list[Box]]:
    tops = sorted({round(one.box.top, 2) for one in page.bars})
    return [[one.box for one in page.bars if round(one.box.top, 2) == top] for top in tops]


def test_four_bars_to_a_line_that_meet_and_reach_the_margin() -> None:
    page = pages_of(Chart("Wet Stairs Beside Kettle", (plain("A", 8), plain("B", 8))), PAPERS["a4"])[0]

    assert [len(line) for line in _lines(page)] == [4, 4, 4, 4]
    for line in _lines(page):
        assert line[0].left == pytest.approx(12.0, abs=0.01)
        assert line[-1].right == pytest.approx(210.0 - 12.0, abs=0.3)
        assert all(one.right == pytest.approx(two.left, abs=0.01) for one, two in pairwise(line))


def test_bars_of_a_short_line_are_as_wide_as_those_above() -> None:
    page = pages_of(Chart("x", (plain("A", 6),)), PAPERS["a4"])[0]

    first, second = _lines(page)
    assert len(second) == 2
    assert second[1].right - second[1].left == pytest.approx(first[1].right - first[1].left, rel=0.08)


def test_eight_bars_show_their_count() -> None:
    page = pages_of(Chart("x", (plain("A", 8, "Verse"),)), PAPERS["a4"])[0]

    labels = {piece.role: piece.text for piece in page.pieces if isinstance(piece, Label)}
    assert (labels["letter"], labels["section"], labels["count"]) == ("A", "Verse", "8 bars")
    assert [piece.text for piece in page.pieces if isinstance(piece, Label) and piece.role == "number"] == ["1", "5"]


def test_a_line_of_a_repeat_shows_the_numbers_of_both_passes() -> None:
    repeated = Section("A", (bar(road=Road(repeat_start=True)), bar(), bar(), bar(road=Road(repeat_end=2))))

    page = pages_of(Chart("x", (repeated, plain("B", 4))), PAPERS["a4"])[0]

    labels = [(piece.role, piece.text) for piece in page.pieces if isinstance(piece, Label)]
    assert [text for role, text in labels if role == "number"] == ["1 (5)", "9"]
    assert [text for role, text in labels if role == "count"] == ["4 bars × 2", "4 bars"]


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("name", BY_HAND)
def test_no_letter_is_smaller_than_nine_points(name: str, paper: str) -> None:
    # 9 points of 25.4 / 72 mm: a house choice.
    sizes = [
        (piece.size, piece.text)
        for page in pages_of(BY_HAND[name](), PAPERS[paper], note="version 1")
        for piece in page.pieces
        if isinstance(piece, Label)
    ]
    assert min(sizes)[0] >= 3.175, min(sizes)


def test_a_short_chart_uses_its_page() -> None:
    # 24 bars on six lines: large staves, and the room that is left goes between them. At most an eighth stays free.
    page = pages_of(Chart("x", (plain("A", 4), plain("B", 8), plain("C", 8), plain("D", 4))), PAPERS["a4"])[0]

    assert page.staff_height == 8.5
    assert max(box_of(piece).bottom for piece in page.pieces) >= 297 * 7 / 8


def test_a_pick_up_is_bar_0() -> None:
    chart = replace(Chart("x", (Section("", (bar(TWO_FOUR),)), plain("A", 4))), first_bar=0)

    page = pages_of(chart, PAPERS["a4"])[0]

    assert [piece.text for piece in page.pieces if isinstance(piece, Label) and piece.role == "number"] == ["0", "1"]


@pytest.mark.parametrize("name", BY_HAND)
def test_a_song_by_hand_fits_one_page(name: str) -> None:
    assert len(pages_of(BY_HAND[name](), PAPERS["a4"])) == len(pages_of(BY_HAND[name](), PAPERS["letter"])) == 1


def test_a_song_of_a_hundred_written_bars_fits_two_facing_pages() -> None:
    sections = tuple(plain(letter, 12, "Section") for letter in "ABCDEFGHI")

    pages = pages_of(Chart("x", sections), PAPERS["a4"])

    assert len(pages) == 2
    assert all(LEAST_STAFF_MM <= page.staff_height <= 7.5 for page in pages)
    # A page is left where a section begins.
    assert [page.bars[0].first % 12 for page in pages] == [1, 1]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_song_of_many_short_sections_fits_two_facing_pages(paper: str) -> None:
    """16 sections of 7 bars, each with a hit and words: 32 lines of four bars would take three pages."""
    marked: dict[int, dict[str, Any]] = {
        2: {"hits": (Hit(Fraction(4)),)},
        1: {"words": (Words("+ bass"),), "dynamics": (Dynamic("mf"),)},
    }
    bars = tuple(bar(**marked.get(number, {})) for number in range(1, 8))
    sections = tuple(Section(letter, bars, "Section") for letter in "ABCDEFGHIJKLMNOP")

    pages = pages_of(Chart("x", sections), PAPERS[paper])

    assert len(pages) == 2
    assert sum(one.last - one.first + 1 for page in pages for one in page.bars) == 112


def test_six_hundred_bars_take_more_pages_and_none_is_lost() -> None:
    pages = pages_of(Chart("x", (plain("A", 600),)), PAPERS["a4"])

    assert sum(len(page.bars) for page in pages) == 600
    assert pages[0].staff_height >= LEAST_STAFF_MM


def test_a_meter_that_changes_in_every_bar_is_shown_in_every_bar() -> None:
    bars = tuple(bar(meter) for meter in (FOUR_FOUR, THREE_FOUR, SIX_EIGHT, TWO_FOUR) * 2)
    page = pages_of(one_section(*bars), PAPERS["a4"])[0]

    digits = [piece.code for piece in page.pieces if isinstance(piece, Sign) and piece.code.startswith("E08")]
    # SMuFL: E080 is 0; each meter has two numbers.
    assert digits == [f"E08{digit}" for _ in range(2) for digit in "44346824"]


def test_a_push_over_the_end_of_a_line_is_tied_on_both_lines() -> None:
    bars = [bar() for _ in range(8)]
    bars[3] = bar(hits=(Hit(Fraction(9, 2), Fraction(1)),))

    page = pages_of(one_section(*bars), PAPERS["a4"])[0]

    curves = [
        piece for piece in page.pieces if isinstance(piece, Shape) and any(name == "curveTo" for name, _ in piece.steps)
    ]
    assert [piece.bar for piece in curves if box_of(piece).bottom - box_of(piece).top > 0.3] == [4, 5]


def test_hits_over_written_drums_lie_above_their_stems() -> None:
    drums = Bar(
        FOUR_FOUR, shows="drums", notes=ROCK_GROOVE, hits=(Hit(Fraction(5, 2)), Hit(Fraction(9, 2), Fraction(1)))
    )

    page = pages_of(one_section(drums, bar(), bar(), bar()), PAPERS["a4"])[0]

    signs = [piece for piece in page.pieces if isinstance(piece, Sign) and piece.bar == 1]
    top = page.bars[0].box.top
    hits = [box_of(piece) for piece in signs if piece.code == "E0A4" and piece.y < top]
    assert len(hits) == 2
    # What is played ends below the heads of the hits: nothing that touches a head goes on below it.
    lines = [box_of(piece) for piece in page.pieces if isinstance(piece, Shape) and piece.bar == 1]
    across = [line for line in lines for hit in hits if line.overlaps(hit) and line.bottom > hit.bottom + 0.2]
    assert across == []


def test_the_key_is_printed_where_drums_are_written() -> None:
    def keys(chart: Chart) -> list[str]:
        pieces = pages_of(chart, PAPERS["a4"])[0].pieces
        return [piece.text for piece in pieces if isinstance(piece, Label) and piece.role == "key"]

    assert keys(one_section(Bar(FOUR_FOUR, shows="drums", notes=ROCK_GROOVE))) == ["hat", "snare", "kick"]
    assert keys(ds_al_coda()) == []


def test_the_heading_says_tempo_with_its_note_feel_count_in_and_version() -> None:
    page = pages_of(straight_rock(), PAPERS["a4"], note="version 3")[0]
    dotted = pages_of(six_eight(), PAPERS["a4"])[0]

    labels = {piece.role: piece.text for piece in page.pieces if isinstance(piece, Label) and piece.role != "tempo"}
    assert (labels["title"], labels["feel"], labels["version"]) == (
        "Four Spare Window Hooks",
        "eighths, count-in 2 bars",
        "version 3",
    )
    assert "= 72" in [piece.text for piece in dotted.pieces if isinstance(piece, Label)]
    # SMuFL metNoteQuarterUp and metAugmentationDot.
    assert {"ECA5", "ECB7"} <= {piece.code for piece in dotted.pieces if isinstance(piece, Sign)}


def test_road_signs_and_words_are_printed() -> None:
    def words(chart: Chart, role: str) -> list[str]:
        pieces = pages_of(chart, PAPERS["a4"])[0].pieces
        return [piece.text for piece in pieces if isinstance(piece, Label) and piece.role == role]

    assert words(ds_al_coda(), "road") == ["To Coda", "D.S. al Coda"]
    assert words(ds_al_coda(), "ending") == ["1.", "2."]
    assert words(six_eight(), "road") == ["Fine", "D.C. al Fine"]
    assert words(waltz(), "road") == ["× 3"]
    assert words(straight_rock(), "cue") == ["“she counts four”"]
    assert words(straight_rock(), "fill") == ["fill 3–4"]
    assert words(straight_rock(), "stop") == ["stop"]


def test_long_words_wrap_and_stay_on_the_page() -> None:
    text = "wait until everybody has come in and then play very quietly " * 3
    word = "W" * 200
    first = bar(words=(Words(text.strip()), Words(word, Fraction(4))))
    long = one_section(first, bar(), bar(), bar(dynamics=(Dynamic("p"),)))
    page = pages_of(replace(long, title=word, artist=text, words=text, tempo=Tempo(Fraction(90))), PAPERS["a4"])[0]

    assert max(box_of(piece).right for piece in page.pieces) <= 210.0 - 11.0
    assert min(box_of(piece).left for piece in page.pieces) >= 11.0
    printed = " ".join(piece.text for piece in page.pieces if isinstance(piece, Label) and piece.role == "words")
    assert text.strip() in printed


@pytest.mark.parametrize("paper", ["a4", "a4-large", "letter-large"])
def test_a_long_name_of_a_section_wraps_and_keeps_its_count(paper: str) -> None:
    """Seventy letters with a rehearsal letter before them and the number of bars behind."""
    name = "Verse three with the spoken part over brushes and the slow crescendo to"
    page = pages_of(Chart("Wet Stairs Beside Kettle", (plain("C", 4, name),)), PAPERS[paper])[0]
    labels = [piece for piece in page.pieces if isinstance(piece, Label)]
    assert " ".join(one.text for one in labels if one.role == "section") == name
    assert [one.text for one in labels if one.role == "count"] == ["4 bars"]
    left, right = min(bar.box.left for bar in page.bars), max(bar.box.right for bar in page.bars)
    assert all(left - 0.1 <= box_of(one).left and box_of(one).right <= right + 0.1 for one in labels)


def test_a_label_wraps_between_words_only() -> None:
    lines = wrapped(Label("one two three four", 0.0, 0.0, 10.0), 60.0)

    assert " ".join(line.text for line in lines) == "one two three four"
    assert len(lines) > 1
    assert lines[-1].y == 0.0


def test_a_bar_full_of_sixteenths_is_given_room() -> None:
    notes = tuple(replace(note, beat=1 + Fraction(step, 4)) for step in range(16) for note in ROCK_GROOVE[:1])
    busy = Bar(FOUR_FOUR, shows="drums", notes=notes)

    page = pages_of(one_section(*[busy] * 8), PAPERS["a4-large"])[0]

    heads = sorted(
        piece.x for piece in page.pieces if isinstance(piece, Sign) and piece.bar == 1 and piece.code == "E0A9"
    )
    assert len(heads) == 16
    # A head is 1.2 spaces wide; the next one begins beyond it.
    assert min(two - one for one, two in pairwise(heads)) > page.staff_height / 4 * 1.2


@given(CHARTS)
@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_chart_is_set_and_no_words_lie_on_words(chart: Chart) -> None:
    numbers = []
    for page in pages_of(chart, PAPERS["a4"]):
        labels = [box_of(piece) for piece in page.pieces if isinstance(piece, Label)]
        assert not any(one.overlaps(two, slack=0.1) for one, two in combinations(labels, 2))
        numbers += [number for one in page.bars for number in range(one.first, one.last + 1)]
    assert numbers == list(range(1, len(chart.bars) + 1))


def test_a_road_sign_at_a_rest_is_not_hidden() -> None:
    rest = Bar(FOUR_FOUR, shows="rest")
    chart = one_section(*[rest] * 3, replace(rest, road=Road(fine=True)))

    pieces = pages_of(chart, PAPERS["a4"])[0].pieces
    assert "Fine" in [piece.text for piece in pieces if isinstance(piece, Label)]

from dataclasses import replace

from analysis.chart.document import REPEAT_2, REST, Bar, Chart, Road
from analysis.engraving.lines import joined, lines_of
from tests.analysis.chart.charts import FOUR_FOUR, THREE_FOUR, one_section, plain


def _bars_by_line(chart: Chart) -> list[int]:
    return [sum(len(cell.bars) for cell in line.cells) for line in lines_of(chart)]


def test_eight_bars_take_two_lines() -> None:
    assert _bars_by_line(one_section(*[Bar(FOUR_FOUR)] * 8)) == [4, 4]


def test_one_bar_left_over_joins_the_line_before_and_more_have_their_own() -> None:
    assert _bars_by_line(one_section(*[Bar(FOUR_FOUR)] * 5)) == [5]
    assert _bars_by_line(one_section(*[Bar(FOUR_FOUR)] * 9)) == [4, 5]
    assert _bars_by_line(one_section(*[Bar(FOUR_FOUR)] * 6)) == [4, 2]
    assert _bars_by_line(one_section(*[Bar(FOUR_FOUR)] * 7)) == [4, 3]


def test_every_section_begins_a_line() -> None:
    chart = Chart("x", (plain("A", 7), plain("B", 2), plain("C", 1)))

    assert [(line.section.letter if line.section else "", line.ends_section) for line in lines_of(chart)] == [
        ("A", False),
        ("", True),
        ("B", True),
        ("C", True),
    ]
    assert [line.ends_chart for line in lines_of(chart)] == [False, False, False, True]


def test_twelve_bars_of_rest_are_one_sign_until_something_is_to_be_read() -> None:
    rest = Bar(FOUR_FOUR, shows=REST)

    assert [len(cell.bars) for cell in lines_of(one_section(*[rest] * 12))[0].cells] == [12]
    signs = (*[rest] * 3, replace(rest, road=Road(segno=True)), rest, replace(rest, meter=THREE_FOUR))
    assert [[len(cell.bars) for cell in line.cells] for line in lines_of(one_section(*signs))] == [[3, 2], [1]]


def test_a_repeat_of_two_bars_is_not_cut() -> None:
    pair = [Bar(FOUR_FOUR, shows=REPEAT_2)] * 2

    assert _bars_by_line(one_section(*[Bar(FOUR_FOUR)] * 3, *pair, *[Bar(FOUR_FOUR)] * 3)) == [3, 5]


def test_bars_are_numbered_through_rests() -> None:
    bars = (*[Bar(FOUR_FOUR, shows=REST)] * 12, *[Bar(FOUR_FOUR)] * 3)

    assert [(cell.number, cell.last) for line in lines_of(one_section(*bars)) for cell in line.cells] == [
        (1, 12),
        (13, 13),
        (14, 14),
        (15, 15),
    ]


def test_lines_of_a_section_are_joined_in_pairs_where_they_fit() -> None:
    """8, 16 and 9 bars: lines of 4, the last of 5. Where what begins with bar 9 does not fit, its second line joins."""
    lines = lines_of(Chart("x", (plain("A", 8), plain("B", 16), plain("C", 9))))

    whole = joined(lines, lambda _: True)

    assert [sum(len(cell.bars) for cell in line.cells) for line in whole] == [8, 8, 8, 9]
    assert [line.section.letter if line.section else "" for line in whole] == ["A", "B", "", "C"]
    assert [(line.ends_section, line.ends_chart) for line in whole] == [
        (True, False),
        (False, False),
        (True, False),
        (True, True),
    ]
    some = joined(lines, lambda both: both.cells[0].number != 9)
    assert [sum(len(cell.bars) for cell in line.cells) for line in some] == [8, 4, 8, 4, 9]

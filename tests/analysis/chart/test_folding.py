"""What a copyist would write, worked through by hand; and that nothing is ever played otherwise than it was drafted."""

from dataclasses import replace
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.chart.checks import problems_of
from analysis.chart.document import Bar, Chart, Hit, Note, Road, Section
from analysis.chart.folding import chart_from_draft, folded, refolded
from analysis.chart.from_draft import Unit, written
from analysis.chart.roadmap import played_order
from analysis.core.chart_draft import ChartDraft
from tests.analysis.chart.charts import FOUR_FOUR


def unit(letter: str, bars: int = 8, *, last: Bar | None = None, dynamic: str = "") -> Unit:
    own = [Bar(FOUR_FOUR)] * (bars - (last is not None)) + ([last] if last else [])
    return Unit(letter, tuple(own), dynamic=dynamic)


def form(text: str) -> tuple[Section, ...]:
    """Sections of eight bars, by their letters."""
    return folded([unit(letter) for letter in text])


def letters(sections: tuple[Section, ...]) -> str:
    return " ".join(f"{section.letter}{_signs(section)}" for section in sections)


def _signs(section: Section) -> str:
    first, last = section.bars[0].road, section.bars[-1].road
    signs = {
        "|:": first.repeat_start,
        ":|": last.repeat_end,
        "S": first.segno,
        ">C": last.to_coda,
        "C": first.coda,
        "F": last.fine,
        "J": last.jump,
    }
    return "".join(sign for sign, there in signs.items() if there)


def test_a_section_that_comes_again_at_once_is_a_repeat() -> None:
    assert letters(form("AAB")) == "A|::| B"
    assert form("AAAB")[0].bars[-1].road.repeat_end == 3


def test_last_bars_that_differ_are_endings() -> None:
    other = Bar(FOUR_FOUR, hits=(Hit(Fraction(4)),))

    (section, _) = folded([unit("A"), unit("A", last=other), unit("B")])

    roads = [bar.road for bar in section.bars]
    assert len(roads) == 9
    assert roads[7] == Road(ending=(1,), repeat_end=2)
    assert roads[8] == Road(ending=(2,))
    assert section.bars[8].hits == other.hits


def test_verse_and_chorus_that_come_again_together_are_one_repeat() -> None:
    assert letters(form("ABABC")) == "A|: B:| C"


def test_a_longer_return_is_a_ds_al_coda() -> None:
    # Verse, chorus, bridge, then verse and chorus again and an ending.
    assert letters(form("ABCABD")) == "AS B>C CJ DC"


def test_a_return_at_the_end_is_a_ds_al_fine() -> None:
    assert letters(form("IABCAB")) == "I AS BF CJ"


def test_a_short_return_is_written_out() -> None:
    short = [unit("A", 4), unit("B"), unit("A", 4), unit("C")]

    assert [section.letter for section in folded(short)] == ["A", "B", "A2", "C"]


def test_a_return_that_differs_is_written_out() -> None:
    other = replace(unit("A"), bars=(Bar(FOUR_FOUR, hits=(Hit(Fraction(1)),)), *unit("A").bars[1:]))

    assert [section.letter for section in folded([unit("A"), unit("B"), other, unit("C")])] == ["A", "B", "A2", "C"]


def test_a_later_pass_that_is_louder_says_so() -> None:
    (section,) = folded([unit("A", dynamic="mp"), unit("A", dynamic="f")])

    assert [words.text for words in section.bars[0].words] == ["2nd time f"]
    assert section.bars[0].dynamics[0].level == "mp"


def test_a_written_out_chart_is_folded_again() -> None:
    groove = (Note(Fraction(1), voice="kick"),)
    units = [replace(unit(letter, dynamic="f"), groove=groove) for letter in "AABCAABD"]

    again = refolded(Chart("x", written(units)))

    assert again.sections == folded(units)
    assert refolded(again) == again
    decided = replace(again.sections[0], decided=("name",))
    assert refolded(Chart("x", (decided, *written(units)))).sections[0] == decided


def test_no_repetition_at_all_is_written_as_it_is() -> None:
    assert letters(form("ABCDE")) == "A B C D E"


def test_written_out_where_the_house_prefers_it() -> None:
    draft = ChartDraft(bars=6)

    assert chart_from_draft(ChartDraft(), title="x") is None
    chart = chart_from_draft(draft, title="Wet Stairs Beside Kettle", fold=False)
    assert chart is not None
    assert len(chart.bars) == 6
    assert [section.letter for section in written([unit("A"), unit("A"), unit("A")])] == ["A", "A2", "A3"]


_UNITS = st.lists(
    st.builds(
        unit,
        st.sampled_from("ABC"),
        st.sampled_from((2, 4, 5, 8)),
        last=st.sampled_from((None, Bar(FOUR_FOUR, hits=(Hit(Fraction(4)),)))),
        dynamic=st.sampled_from(("", "p", "f")),
    ),
    min_size=1,
    max_size=10,
)


@given(_UNITS)
@settings(max_examples=300, deadline=None)
def test_a_folded_chart_plays_what_was_drafted_and_has_no_fault(units: list[Unit]) -> None:
    chart = Chart("x", folded(units))

    played = [chart.bars[number - 1].hits for number in played_order(chart).order]

    assert played == [bar.hits for one in units for bar in one.bars]
    assert problems_of(chart) == ()
    assert len(chart.bars) <= sum(len(one.bars) for one in units)

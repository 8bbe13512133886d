from dataclasses import replace
from fractions import Fraction

import pytest

from analysis.chart.beats import is_on_grid
from analysis.chart.checks import length_check
from analysis.chart.document import DRUMS, REST, RHYTHM, SLASHES, Dynamic, Hit, Span, Tempo, Words
from analysis.chart.entries import entry_words, is_entry
from analysis.chart.folding import chart_from_draft, refolded
from analysis.chart.from_draft import in_one_grid, units_of, written
from analysis.chart.roadmap import bar_labels
from analysis.core import chart_draft as draft_of
from analysis.core.chart_draft import ChartDraft, Ending, Entry, MeterChange, SectionGroove, Stop
from analysis.core.reports import Section
from analysis.maps.tempo_map import MeterSign, Segment, TempoMap
from tests.analysis.chart.charts import FOUR_FOUR, SIX_EIGHT

DRAFT = ChartDraft(
    bars=8,
    meters=(MeterChange(1, "4/4"), MeterChange(4, "2/4"), MeterChange(5, "4/4")),
    sections=(Section(1, 4, "A", 0.9, "mp"), Section(5, 4, "B", 0.8, "f")),
    hits=(draft_of.Hit(2, 2.49, 0.52), draft_of.Hit(2, 4.51, 1.0), draft_of.Hit(99, 1.0, 1.0)),
    stops=(Stop(6, 3.0, 4.0),),
    grooves=(SectionGroove(1, kick=(1.0, 3.0), snare=(2.0, 4.0), hat=(1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5)),),
    fills=(3,),
    ending=Ending("held", 8),
)


def test_every_measured_bar_is_a_written_bar_with_its_meter() -> None:
    sections = written(units_of(DRAFT))

    assert [(section.letter, len(section.bars)) for section in sections] == [("A", 4), ("B", 4)]
    assert [str(bar.meter) for bar in sections[0].bars] == ["4/4", "4/4", "4/4", "2/4"]
    assert sections[1].bars[0].meter == FOUR_FOUR


def test_hits_go_to_the_grid() -> None:
    assert written(units_of(DRAFT))[0].bars[1].hits == (Hit(Fraction(5, 2)), Hit(Fraction(9, 2), Fraction(1)))


def test_a_stop_over_a_bar_line_is_in_both_bars() -> None:
    bars = written(units_of(DRAFT))[1].bars

    assert [bar.stops for bar in bars] == [(), (Span(Fraction(3), Fraction(2)),), (Span(Fraction(1), Fraction(2)),), ()]


def test_groove_and_dynamics_are_written_once() -> None:
    same = SectionGroove(2, kick=(1.0, 3.0), snare=(2.0, 4.0), hat=(1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5))
    first, second = written(units_of(replace(DRAFT, grooves=(*DRAFT.grooves, same))))

    assert first.bars[0].shows == DRUMS
    assert [(str(note.beat), note.voice) for note in first.bars[0].notes][:3] == [
        ("1", "hat"),
        ("1", "kick"),
        ("3/2", "hat"),
    ]
    assert second.bars[0].shows == SLASHES
    assert first.bars[0].dynamics == (Dynamic("mp"),)
    assert second.bars[0].dynamics == (Dynamic("f"),)


def test_a_groove_is_written_where_nothing_else_is_to_be_read() -> None:
    busy = replace(DRAFT, hits=(draft_of.Hit(1, 2.0, 1.0),), fills=(2,))

    first = written(units_of(busy))[0]

    assert [bar.shows for bar in first.bars] == [SLASHES, SLASHES, DRUMS, SLASHES]


def test_a_fill_goes_to_the_end_of_its_bar_and_a_held_ending_has_a_fermata() -> None:
    first, second = written(units_of(replace(DRAFT, fill_beats=(3.0,))))

    assert first.bars[2].fills == (Span(Fraction(3), Fraction(2)),)
    assert written(units_of(DRAFT))[0].bars[2].fills == (Span(Fraction(1), Fraction(4)),)
    assert (second.bars[3].shows, second.bars[3].held) == (RHYTHM, Fraction(1))


def test_the_other_endings() -> None:
    def last(kind: draft_of.EndingKind, bar: int = 8) -> object:
        return written(units_of(replace(DRAFT, ending=Ending(kind, bar))))[1].bars[3]

    plain = last("none")
    assert last("hit") != plain
    assert [words.text for words in last("fade").words] == ["fade out"]  # type: ignore[attr-defined]
    assert [words.text for words in last("ritardando").words] == ["rit."]  # type: ignore[attr-defined]
    assert last("hit", 99) == plain


def test_a_song_that_was_not_divided_is_one_section_and_one_without_bars_is_none() -> None:
    assert [(one.letter, len(one.bars)) for one in units_of(ChartDraft(bars=6))] == [("", 6)]
    assert units_of(ChartDraft()) == ()


def test_tempo_changes_are_written_where_somebody_reads_them() -> None:
    four = MeterSign(4, 4)
    tempos = TempoMap(
        (
            Segment(1, Fraction(0), Fraction(120), four),
            Segment(3, Fraction(4), Fraction(121), four),  # drift
            Segment(5, Fraction(8), Fraction("90.04"), four),
            Segment(7, Fraction(14), Fraction(60), four, free=True),
            Segment(8, Fraction(20), Fraction("90.04"), four),
        )
    )

    (unit,) = units_of(ChartDraft(bars=8), tempos)

    assert [bar.tempo for bar in unit.bars] == [None] * 4 + [Tempo(Fraction(90))] + [None] * 3
    assert [[words.text for words in bar.words] for bar in unit.bars][6:] == [["freely"], ["in time"]]


def test_a_quarter_with_both_grids_is_written_in_sixteenths() -> None:
    beats = [Fraction(5, 4), Fraction(4, 3), Fraction(8, 3)]

    found = in_one_grid(beats, FOUR_FOUR)

    assert list(found.values()) == [Fraction(5, 4), Fraction(8, 3)]
    assert all(is_on_grid(beat - 1) for beat in found.values())


def test_six_eight_counts_eighths() -> None:
    draft = ChartDraft(bars=1, meters=(MeterChange(1, "6/8"),), hits=(draft_of.Hit(1, 4.0, 3.0),))

    (unit,) = units_of(draft)

    assert unit.bars[0].meter == SIX_EIGHT
    assert unit.bars[0].hits == (Hit(Fraction(4), Fraction(3)),)


ENTERING = ChartDraft(
    bars=16,
    meters=(MeterChange(1, "4/4"),),
    sections=(Section(1, 4, "A"), Section(5, 4, "B"), Section(9, 4, "B"), Section(13, 4, "C")),
    entries=(Entry(1, "keys"), Entry(2, "bass"), Entry(3, "voices"), Entry(4, "bass", enters=False)),
    players=("keys", "bass", "voices"),
)


def test_who_enters_and_leaves_stands_at_the_section() -> None:
    assert [entry_words(ENTERING, number) for number in (1, 2, 3, 4)] == ["only keys", "+ bass", "+ voices", "bass out"]
    everybody = replace(ENTERING, entries=(Entry(1, "keys"), Entry(3, "bass"), Entry(3, "voices")))
    assert entry_words(everybody, 3) == "all in"
    both = replace(ENTERING, entries=(Entry(2, "bass"), Entry(2, "keys", enters=False)))
    assert entry_words(both, 2) == "+ bass; keys out"
    sections = written(units_of(ENTERING))
    assert [section.bars[0].words for section in sections] == [
        (Words("only keys"),), (Words("+ bass"),), (Words("+ voices"),), (Words("bass out"),),
    ]  # fmt: skip


def test_a_section_that_comes_again_with_others_is_a_repeat_still() -> None:
    chart = chart_from_draft(ENTERING, title="x")

    assert chart is not None
    assert [section.letter for section in chart.sections] == ["A", "B", "C"]
    assert [words.text for words in chart.sections[1].bars[0].words] == ["+ bass", "2nd time + voices"]
    # Written out and folded again, it is the same chart.
    in_full = chart_from_draft(ENTERING, title="x", fold=False)
    assert in_full is not None
    assert refolded(in_full) == chart


def test_words_of_other_kinds_are_no_entry() -> None:
    told = [is_entry(Words(text)) for text in ("+ keys", "keys, bass out", "only keys", "all in", "fade out", "rit.")]
    assert told == [True, True, True, True, False, False]


@pytest.mark.parametrize(("beats", "meter", "units"), [(1.5, "4/4", 2), (1.0, "3/4", 1), (1.0, "6/8", 3)])
def test_a_pickup_is_a_bar_of_its_own_before_bar_one(beats: float, meter: str, units: int) -> None:
    """A felt beat of 6/8 is three eighths."""
    draft = ChartDraft(bars=4, meters=(MeterChange(1, meter),), sections=(Section(1, 4, "A"),), pickup_beats=beats)

    chart = chart_from_draft(draft, title="x")

    assert chart is not None
    first = chart.bars[0]
    assert (chart.first_bar, first.shows, str(first.meter)) == (0, REST, f"{units}/{meter[-1]}")
    assert first.words[0].text.startswith("pickup, ")
    assert bar_labels(chart)[2] == "1"
    assert length_check(chart, song_bars=4).agrees


def test_a_note_a_little_early_is_no_pickup() -> None:
    draft = ChartDraft(bars=4, meters=(MeterChange(1, "4/4"),), pickup_beats=0.2)
    assert [unit.bars[0].shows for unit in units_of(draft)] == [SLASHES]

from dataclasses import replace
from fractions import Fraction

from analysis.chart.document import Chart, Dynamic, Hit, Road, Section, Tempo, Words
from analysis.chart.merging import Difference, merged, moved_bars
from tests.analysis.chart.charts import THREE_FOUR, plain

SOFT, LOUD, LEAD_OUT = (Dynamic("mp"),), (Dynamic("f"),), (Words("lead out"),)
HIT, OTHER = Hit(Fraction(2)), Hit(Fraction(7, 2))


def chart(*sections: Section, **more: object) -> Chart:
    return Chart("Wet Stairs Beside Kettle", sections, **more)  # type: ignore[arg-type]


def with_bar(section: Section, at: int, **fields: object) -> Section:
    bars = list(section.bars)
    bars[at - 1] = replace(bars[at - 1], **fields)  # type: ignore[arg-type]
    return replace(section, bars=tuple(bars))


def test_what_nobody_decided_follows_the_draft() -> None:
    mine = chart(with_bar(plain("A", 8), 3, hits=(HIT,)))
    draft = chart(with_bar(plain("A", 4), 3, hits=(OTHER,)), plain("B", 4))

    result = merged(mine, draft)

    assert result.chart == replace(draft, decided=())
    assert result.differences == ()


def test_what_a_person_decided_stays_and_the_difference_is_listed() -> None:
    mine = chart(with_bar(with_bar(plain("A", 8), 3, hits=(HIT,), decided=("hits",)), 5, hits=(), decided=("hits",)))
    draft = chart(with_bar(with_bar(plain("A", 8), 3, hits=(OTHER,)), 5, hits=(OTHER,), words=(Words("rit."),)))

    result = merged(mine, draft)

    bars = result.chart.bars
    assert bars[2].hits == (HIT,)
    assert bars[4].hits == ()  # what was taken out stays out
    assert bars[4].words == (Words("rit."),)  # nobody decided the words
    assert [bar.decided for bar in bars if bar.decided] == [("hits",), ("hits",)]
    assert result.differences == (Difference(3, "hits"), Difference(5, "hits"))


def test_the_same_draft_again_changes_nothing() -> None:
    mine = chart(with_bar(plain("A", 8), 3, hits=(HIT,), decided=("hits",)), plain("B", 8))

    once = merged(mine, chart(plain("A", 8), plain("B", 8)))
    twice = merged(once.chart, chart(plain("A", 8), plain("B", 8)))

    assert once.chart == twice.chart == mine


def test_a_decided_section_keeps_its_name_and_place() -> None:
    named = replace(plain("A", 8), name="Verse", decided=("name",))
    mine = chart(named, plain("B", 8))
    draft = chart(plain("A", 5), plain("B", 7), plain("C", 4))

    result = merged(mine, draft)

    assert [(one.letter, one.name, len(one.bars)) for one in result.chart.sections] == [
        ("A", "Verse", 8),
        ("B", "", 4),
        ("C", "", 4),
    ]
    assert result.differences == (Difference(1, "place"),)


def test_what_was_measured_of_a_section_that_the_draft_does_not_find_stays_with_it() -> None:
    """The draft has one section, f, up to C; the outro that somebody named stays mp, and C is f again."""
    outro = replace(with_bar(plain("B", 4), 1, dynamics=SOFT, words=LEAD_OUT), name="Outro", decided=("name",))
    mine = chart(with_bar(plain("A", 4), 1, dynamics=LOUD), outro, with_bar(plain("C", 4), 1, dynamics=LOUD))
    draft = chart(with_bar(plain("A", 8), 1, dynamics=LOUD), plain("C", 4))

    result = merged(mine, draft)

    bars = result.chart.bars
    assert [(number, bar.dynamics) for number, bar in enumerate(bars, 1) if bar.dynamics] == [
        (1, LOUD),
        (5, SOFT),
        (9, LOUD),
    ]
    assert bars[4].words == LEAD_OUT
    assert result.differences == (Difference(5, "place"),)
    assert merged(result.chart, draft).chart == result.chart


def test_what_was_measured_stays_with_sections_of_a_decided_road() -> None:
    road = {"road": Road(repeat_start=True), "decided": ("road",)}
    mine = chart(with_bar(plain("A", 4), 1, **road), with_bar(plain("B", 4), 1, dynamics=SOFT, words=LEAD_OUT))

    result = merged(mine, chart(with_bar(plain("A", 8), 1, dynamics=LOUD)))

    assert [bar.dynamics for bar in result.chart.bars if bar.dynamics] == [LOUD, SOFT]
    assert result.chart.bars[4].words == LEAD_OUT


def test_what_was_measured_of_a_section_that_goes_is_listed() -> None:
    mine = chart(plain("A", 4), with_bar(plain("B", 4), 1, dynamics=SOFT))

    result = merged(mine, chart(plain("A", 8)))

    assert [bar.dynamics for bar in result.chart.bars if bar.dynamics] == []
    assert result.differences == (Difference(5, "beginning"),)


def test_the_header_follows_unless_it_was_decided() -> None:
    mine = chart(plain("A", 4), tempo=Tempo(Fraction(100)), words="brushes", decided=("tempo",))
    draft = replace(chart(plain("A", 4), tempo=Tempo(Fraction(112))), title="Slow Rope Over Gravel")

    result = merged(mine, draft)

    assert result.chart.tempo == Tempo(Fraction(100))
    assert (result.chart.title, result.chart.words) == ("Slow Rope Over Gravel", "brushes")
    assert result.differences == (Difference(None, "tempo"),)


def test_a_decided_road_keeps_the_written_bars() -> None:
    verse = with_bar(
        with_bar(plain("A", 4), 1, road=Road(repeat_start=True), decided=("road",)),
        4,
        road=Road(repeat_end=2),
        decided=("road",),
    )
    mine = chart(verse, plain("B", 4))
    draft = chart(with_bar(plain("A", 4), 2, hits=(HIT,)), plain("A", 4), with_bar(plain("B", 4), 1, meter=THREE_FOUR))

    result = merged(mine, draft)

    assert len(result.chart.bars) == 8
    assert result.chart.bars[0].road == Road(repeat_start=True)
    assert result.chart.bars[1].hits == (HIT,)
    assert result.chart.bars[4].meter == THREE_FOUR  # bar 9 of the song
    assert result.differences == ()


def test_bars_that_the_map_moved_take_their_decisions_along() -> None:
    mine = chart(with_bar(plain("A", 8), 3, hits=(HIT,), decided=("hits",)))
    draft = chart(plain("A", 10))
    old = [2.0 * bar for bar in range(9)]
    new = [2.0 * bar - 4.0 for bar in range(11)]  # two bars more at the start

    result = merged(mine, draft, moved=moved_bars(old, new))

    assert [number for number, bar in enumerate(result.chart.bars, 1) if bar.hits] == [5]
    assert result.shifted == 2
    assert result.lost == ()


def test_a_decided_bar_that_the_song_lost_is_said() -> None:
    mine = chart(with_bar(plain("A", 8), 8, hits=(HIT,), decided=("hits",)))

    result = merged(mine, chart(plain("A", 6)))

    assert result.lost == (8,)


def test_moved_bars_are_the_nearest_within_half_a_bar() -> None:
    # Half as many bars: every second old bar has none of its own.
    assert moved_bars([0, 1, 2, 3, 4], [0.1, 2.1, 4.1]) == {1: 1, 3: 2}
    assert moved_bars([0, 2, 4], [10, 12, 14]) == {}
    assert moved_bars([], []) == {}

import json
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from analysis.chart.document import (
    BAR_ASPECTS,
    DRUMS,
    LEVELS,
    RHYTHM,
    VOICES,
    Bar,
    Chart,
    Dynamic,
    Hit,
    Note,
    Road,
    Section,
    Span,
    Tempo,
    Words,
)
from analysis.chart.reading import read_chart
from tests.analysis.chart.charts import FOUR_FOUR, SIX_EIGHT

_BEATS = st.integers(2, 9).map(lambda step: Fraction(step, 2))  # in 4/4 as in 6/8
_WORDS = st.builds(Words, st.sampled_from(("watch", "쉼", "più")), cue=st.booleans())
_ROADS = st.builds(
    Road,
    repeat_start=st.booleans(),
    repeat_end=st.sampled_from((0, 2, 3)),
    ending=st.sampled_from(((), (1,), (2, 3))),
)
_BARS = st.one_of(
    st.builds(
        Bar,
        st.sampled_from((FOUR_FOUR, SIX_EIGHT)),
        hits=st.lists(st.builds(Hit, _BEATS, accent=st.booleans()), max_size=3).map(tuple),
        stops=st.lists(st.builds(Span, _BEATS, st.just(Fraction(1))), max_size=1).map(tuple),
        dynamics=st.lists(st.builds(Dynamic, st.sampled_from(LEVELS)), max_size=1).map(tuple),
        words=st.lists(_WORDS, max_size=2).map(tuple),
        road=_ROADS,
        decided=st.sets(st.sampled_from(BAR_ASPECTS)).map(
            lambda some: tuple(one for one in BAR_ASPECTS if one in some)
        ),
    ),
    st.builds(
        Bar,
        st.just(FOUR_FOUR),
        shows=st.just(DRUMS),
        notes=st.lists(st.builds(Note, _BEATS, voice=st.sampled_from(VOICES)), min_size=1, max_size=5).map(tuple),
    ),
    st.builds(Bar, st.just(FOUR_FOUR), shows=st.just(RHYTHM), notes=st.just((Note(Fraction(1), Fraction(4, 3)),))),
)
CHARTS = st.builds(
    Chart,
    st.just("Wet Stairs Beside Kettle"),
    st.lists(
        st.builds(Section, st.sampled_from("ABC"), st.lists(_BARS, min_size=1, max_size=4).map(tuple)),
        min_size=1,
        max_size=3,
    ).map(tuple),
    meter=st.sampled_from((FOUR_FOUR, SIX_EIGHT)),
    tempo=st.sampled_from((None, Tempo(Fraction(112)), Tempo(Fraction("91.7")), Tempo(Fraction(100, 3)))),
)


@given(CHARTS)
def test_any_chart_is_read_back_as_it_was_written(chart: Chart) -> None:
    assert read_chart(json.loads(json.dumps(chart.to_json()))) == chart


def test_the_json_says_what_differs_from_a_plain_bar() -> None:
    chart = Chart(
        "Four Spare Window Hooks", (Section("A", (Bar(FOUR_FOUR), Bar(SIX_EIGHT, hits=(Hit(Fraction(9, 2)),)))),)
    )

    assert chart.to_json() == {
        "chart": 1,
        "title": "Four Spare Window Hooks",
        "meter": "4/4",
        "sections": [{"letter": "A", "bars": [{}, {"meter": "6/8", "hits": [{"beat": 4.5}]}]}],
    }


def test_bars_are_counted_through_all_sections() -> None:
    chart = Chart("x", (Section("A", (Bar(FOUR_FOUR),) * 2), Section("B", (Bar(FOUR_FOUR),))))

    assert [(number, section.letter) for number, section, _ in chart.numbered()] == [(1, "A"), (2, "A"), (3, "B")]

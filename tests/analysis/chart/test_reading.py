import json
from typing import Any

import pytest

from analysis.chart.reading import MOST_BARS, read_chart
from analysis.core.errors import ChartError
from tests.analysis.chart.charts import ds_al_coda


def _chart(**more: Any) -> dict[str, Any]:
    return {"chart": 1, "title": "Wet Stairs Beside Kettle", "sections": [], **more}


def _with_bar(**bar: Any) -> dict[str, Any]:
    return _chart(sections=[{"letter": "A", "bars": [{}, bar]}])


REFUSED = [
    ([], "a chart is a JSON object"),
    ({"title": "x"}, "not a chart of format 1: “chart” is None"),
    ({"chart": 2, "title": "x", "sections": []}, "not a chart of format 1: “chart” is 2"),
    ({"chart": 1, "title": "x", "sections": []}, "the chart has no bars"),
    ({"chart": 1, "sections": []}, "the chart: needs “title”"),
    ({"chart": 1, "title": 7, "sections": []}, "the chart, title: must be a text"),
    ({"chart": 1, "title": "x" * 201, "sections": []}, "the chart, title: has 201 characters; 200 are the most"),
    ({"chart": 1, "title": "x", "sections": {}}, "the chart, sections: must be a list"),
    (_chart(colour=1), "the chart: has no field 'colour'"),
    (_chart(meter="5/0"), "meter: 5/0 is not a meter: there is no note of 1/0 to count in"),
    (_chart(tempo={"bpm": "0"}), "the chart, tempo, bpm: must be from 1 to 1000"),
    (_chart(sections=[{"letter": "A", "bars": []}]), "the chart, section 1: has no bars"),
    (_with_bar(shows="noise"), "the chart, section 1, bar 2, shows: is 'noise'; it must be one of"),
    (_with_bar(hits=[{"beat": 5}]), "the chart, section 1, bar 2: the hit at beat 5 lies outside a bar of 4/4"),
    (_with_bar(hits=[{"beat": 1.1}]), "the hit at beat 11/10 is neither on a sixteenth nor on a triplet eighth"),
    (_with_bar(hits=[{"beat": 1.25}, {"beat": "4/3"}]), "sixteenths and triplets lie in one quarter"),
    (_with_bar(meter="7/8", hits=[{"beat": "23/3"}]), "the hit at beat 23/3 would be a triplet"),
    (_with_bar(meter="6/8", hits=[{"beat": "5/3"}]), "the hit at beat 5/3 would be a triplet"),
    (_with_bar(hits=[{"beat": "1/0"}]), "hit 1, beat: is no number: '1/0'"),
    (_with_bar(hits=[{"beat": "1e99999999"}]), "hit 1, beat: is no number: '1e99999999'"),
    (_with_bar(hits=[{"beat": float("nan")}]), "hit 1, beat: is no number: 'nan'"),
    (_with_bar(hits=[{"beat": "9" * 5000}]), "hit 1, beat: is no number"),
    (_with_bar(hits=[{"beat": True}]), "hit 1, beat: must be a number, or a fraction as a text"),
    (_with_bar(hits=[{"beat": 1, "length": 0}]), "hit 1, length: must be more than 0 and at most 128 beats"),
    (_with_bar(hits=[{}]), "hit 1: needs “beat”"),
    (_with_bar(shows="drums", notes=[{"beat": 1}]), "a note of written drums needs a voice"),
    (_with_bar(shows="rhythm", notes=[{"beat": 1, "voice": "kick"}]), "a note of a rhythm has no voice"),
    (_with_bar(notes=[{"beat": 1}]), "a bar that shows slashes has no notes"),
    (_with_bar(road={"repeat_end": 1}), "bar 2, road, repeat_end: must be a whole number from 2 to 32"),
    (_with_bar(decided=["colour"]), "aspect 1: is 'colour'"),
]  # fmt: skip


@pytest.mark.parametrize(("data", "sentence"), REFUSED, ids=[sentence[:50] for _, sentence in REFUSED])
def test_refuses_with_the_place(data: Any, sentence: str) -> None:
    with pytest.raises(ChartError) as refused:
        read_chart(data)

    assert sentence in str(refused.value)


def test_what_is_written_is_read_back() -> None:
    chart = ds_al_coda(repeats=True)

    assert read_chart(json.loads(json.dumps(chart.to_json()))) == chart


def test_texts_are_cleaned() -> None:
    data = _with_bar(words=[{"text": "wait\x07 for\u202e <b>it</b>"}])

    assert read_chart(data).bars[1].words[0].text == "wait for <b>it</b>"


def test_six_hundred_bars_are_read_and_too_many_are_refused() -> None:
    def data(bars: int) -> dict[str, Any]:
        return {"chart": 1, "title": "x", "sections": [{"letter": "A", "bars": [{}] * bars}]}

    assert len(read_chart(data(600)).bars) == 600
    with pytest.raises(ChartError, match=str(MOST_BARS)):
        read_chart(data(MOST_BARS + 1))

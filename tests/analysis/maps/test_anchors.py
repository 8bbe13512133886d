"""Maps by hand. Every expected figure is arithmetic."""

from __future__ import annotations

from fractions import Fraction

import pytest

from analysis.maps.anchors import Anchor, anchors_of, map_through
from analysis.maps.tempo_map import MeterSign, TempoMap, TempoMapError

FOUR = MeterSign(4, 4)


def anchor(bar: int, time_s: str, meter: str = "4/4", *, ramps: bool = False) -> Anchor:
    return Anchor(bar, Fraction(time_s), MeterSign.parse(meter), ramps)


def test_between_two_anchors_there_is_one_tempo() -> None:
    """8 bars of 4 in 16 s: 120 BPM; then 8 in 15 s: 128 BPM."""
    tempo_map = map_through([anchor(1, "2"), anchor(9, "18"), anchor(17, "33")], last_bpm=Fraction(100))
    assert [segment.bpm for segment in tempo_map.segments] == [120, 128, 100]
    assert tempo_map.time_of_bar(9) == 18
    assert tempo_map.time_of_bar(18) == Fraction("35.4")


def test_a_short_bar_keeps_the_beat() -> None:
    """120 BPM, a 2/4 bar at bar 5: bar 6 begins one second after bar 5."""
    tempo_map = map_through(
        [anchor(1, "0"), anchor(5, "8", "2/4"), anchor(6, "9"), anchor(10, "17")], last_bpm=Fraction(120)
    )
    assert {segment.bpm for segment in tempo_map.segments} == {120}


def test_a_ramp_goes_on_from_the_tempo_before_and_fills_the_time_evenly() -> None:
    """Beats of 0.5 s, then 4 bars in 10 s. The bars' beats are 0.5 + step (k + 1/2); their sum times 4 is 10 s:
    4 × (2 + 8 step) = 10, step = 1/16, so 0.53125, 0.59375, 0.65625 and 0.71875 s."""
    tempo_map = map_through([anchor(1, "0"), anchor(5, "8", ramps=True), anchor(9, "18")], last_bpm=Fraction(80))
    beats = [float(segment.beat_s) for segment in tempo_map.segments]
    assert beats == [0.5, 0.53125, 0.59375, 0.65625, 0.71875, 0.75]
    assert tempo_map.time_of_bar(9) == 18
    assert tempo_map.time_of_bar(6) == Fraction("10.125")


def test_a_ramp_at_the_very_start_has_no_tempo_to_go_on_from() -> None:
    tempo_map = map_through([anchor(1, "0", ramps=True), anchor(5, "8")], last_bpm=Fraction(120))
    assert [segment.bpm for segment in tempo_map.segments] == [120, 120]


@pytest.mark.parametrize(
    ("anchors", "words"),
    [
        ([], "needs an anchor"),
        ([anchor(1, "0"), anchor(1, "2")], "does not come after"),
        ([anchor(2, "3"), anchor(3, "3")], "does not come after"),
        ([anchor(1, "0"), anchor(2, "2"), anchor(3, "0.1")], "does not come after"),
        ([anchor(1, "0"), anchor(2, "4"), anchor(3, "8", ramps=True), anchor(11, "9")], "no tempo ramp"),
        ([anchor(1, "0"), anchor(9, "0.1")], "out of range"),
        ([anchor(bar, str(bar)) for bar in range(2_002)], "more than"),
    ],
)
def test_what_makes_no_map_is_said(anchors: list[Anchor], words: str) -> None:
    with pytest.raises(TempoMapError, match=words):
        map_through(anchors, last_bpm=Fraction(120))


def test_there_and_back() -> None:
    tempo_map = TempoMap.constant("112.003", "3/4", 1.25)
    anchors = anchors_of(tempo_map)
    assert map_through(anchors, last_bpm=tempo_map.segments[-1].bpm) == tempo_map
    assert [Anchor.from_json(one.to_json()) for one in anchors] == list(anchors)


def test_a_free_passage_is_counted_and_meets_the_next_anchor() -> None:
    """Bars 5 to 8 are free for 10 s: 16 counted beats of 0.625 s, and bar 9 begins at 18 s. What is free loops."""
    anchors = [anchor(1, "0"), Anchor(5, Fraction(8), FOUR, free=True), anchor(9, "18"), anchor(13, "26")]
    tempo_map = map_through(anchors, last_bpm=Fraction(120))

    assert [(one.bar, one.free) for one in tempo_map.segments] == [(1, False), (5, True), (9, False), (13, False)]
    assert tempo_map.time_of_bar(9) == 18
    assert tempo_map.segment_at_bar(5).beat_s == Fraction("0.625")
    assert list(anchors_of(tempo_map)) == anchors
    assert map_through(anchors_of(tempo_map), last_bpm=Fraction(120)) == tempo_map


def test_a_free_anchor_travels_as_json_and_only_then_says_so() -> None:
    free = Anchor(5, Fraction(8), FOUR, free=True)

    assert free.to_json()["free"] is True
    assert Anchor.from_json(free.to_json()) == free
    assert "free" not in anchor(5, "8").to_json()


def test_nothing_ramps_inside_a_free_passage_or_out_of_it() -> None:
    """A ramp goes on from the tempo before, and a free passage has none: 4 bars in 10 s are then even, 96 BPM."""
    free = Anchor(5, Fraction(8), FOUR, ramps=True, free=True)
    after = anchor(9, "18", ramps=True)
    tempo_map = map_through([anchor(1, "0"), free, after, anchor(13, "28")], last_bpm=Fraction(96))

    assert [one.bar for one in tempo_map.segments] == [1, 5, 9, 13]
    assert [one.bpm for one in tempo_map.segments[1:]] == [96, 96, 96]


def test_the_last_anchor_may_be_free_to_the_end() -> None:
    tempo_map = map_through([anchor(1, "0"), Anchor(5, Fraction(8), FOUR, free=True)], last_bpm=Fraction(60))

    assert tempo_map.free_stretches[-1].end_bar is None
    assert tempo_map.is_free_at(1_000)


@pytest.mark.parametrize("meter", [5, None, [], {}])
def test_a_meter_that_is_no_text_makes_no_map(meter: object) -> None:
    with pytest.raises(TempoMapError, match="not a meter"):
        Anchor.from_json({"bar": 1, "time_s": 0.0, "meter": meter})
    with pytest.raises(TempoMapError, match="not a tempo map"):
        TempoMap.from_json({"segments": [{"bar": 1, "time_s": 0.0, "bpm": 120, "meter": meter}]})

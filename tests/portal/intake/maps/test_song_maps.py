"""Which map holds for a song, and where its bars stand."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest

from analysis.maps.anchors import Anchor, map_through
from analysis.maps.tempo_map import MeterSign, TempoMap
from portal.intake.checks import services
from portal.intake.maps.song_maps import bars_of, beats_of, map_of_song
from tests.factories import make_check, make_drummer, make_song, measured_song

pytestmark = pytest.mark.django_db


def test_bars_stand_where_the_measured_map_puts_them() -> None:
    """At 120 a bar of 4/4 lasts 2 s; bar one is at 2 s, and the file ends at 60 s: bars 1 to 29."""
    song = make_song()
    make_check(song=song, report=measured_song(bpm=120.0))
    bars = list(bars_of(map_of_song(song), 60.0))
    assert [(bar["bar"], bar["time_s"]) for bar in bars] == [(bar, 2.0 * bar) for bar in range(1, 30)]
    assert {bar["beats"] for bar in bars} == {4}


def test_an_approved_map_comes_before_the_measured_one() -> None:
    song = make_song()
    make_check(song=song)
    services.overrule(song=song, by=make_drummer(), bpm=Decimal(60), meter="3/4", bar_one_s=Decimal(3))
    assert [bar["time_s"] for bar in bars_of(map_of_song(song), 60.0)][:3] == [3.0, 6.0, 9.0]


def test_without_either_there_is_none() -> None:
    assert map_of_song(make_song()) is None
    assert list(bars_of(None, 60.0)) == []


def test_bars_that_begin_in_a_free_passage_say_so() -> None:
    """At 120 a bar lasts 2 s; bars 3 and 4 are free for 7 s, so bar 5 begins at 11 s."""
    four = MeterSign(4, 4)
    anchors = [Anchor(1, Fraction(0), four), Anchor(3, Fraction(4), four, free=True), Anchor(5, Fraction(11), four)]
    bars = list(bars_of(map_through(anchors, last_bpm=Fraction(120)), 14.0))

    assert [(bar["bar"], bar["time_s"]) for bar in bars] == [
        (1, 0.0),
        (2, 2.0),
        (3, 4.0),
        (4, 7.5),
        (5, 11.0),
        (6, 13.0),
    ]
    assert [bar.get("free") for bar in bars] == [None, None, True, True, None, None]


def test_the_bars_of_three_hours_reach_their_end() -> None:
    """180 BPM in 4/4: a bar every 4/3 s, 8 100 of them in 10 800 s."""
    bars = list(bars_of(TempoMap.constant(180), 10_800.0))
    assert (len(bars), bars[-1]["bar"]) == (8_100, 8_100)


@pytest.mark.parametrize(("duration_s", "last_s"), [(3.25, 3.0), (3.0, 2.5)])
def test_no_beat_is_laid_where_the_song_is_over(duration_s: float, last_s: float) -> None:
    """120 BPM from 0 s: a beat every half second, also in the bar that the song ends in."""
    assert beats_of(TempoMap.constant(120), duration_s)[-1][0] == last_s

"""Which map holds for a song, and where its bars stand."""

from __future__ import annotations

from decimal import Decimal

import pytest

from analysis.maps.playing import bars_of
from portal.intake.checks import services
from portal.intake.maps.song_maps import map_of_song
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

"""What a drummer reads of a song."""

from __future__ import annotations

from analysis.commands.song_text import song_lines
from analysis.core.reports import Alternative, BarOne, MapSegment, Meter, SongMeasures, Tempo


def text(song: SongMeasures) -> str:
    return "\n".join(song_lines(song))


def steady(bpm: float = 111.95) -> SongMeasures:
    tempo = Tempo(
        "constant",
        bpm,
        str(bpm),
        bpm - 0.004,
        bpm + 0.004,
        "music",
        6.2,
        0.97,
        (Alternative(55.975, 0.03, label="half"),),
    )
    one = BarOne(time_s=1.25, frame=60_000, confidence=0.9, pickup_beats=1.0)
    beats = tuple(index * 60 / bpm for index in range(449))
    return SongMeasures(tempo, meter=Meter(4, 4, 0.95), bar_one=one, count_in_bars=2.0, beats_s=beats)


def test_says_tempo_interval_meter_bar_one_and_what_else_it_could_be() -> None:
    lines = text(steady())

    said = (
        "111.95 bpm: constant",
        "between 111.9460 and 111.9540",
        "4/4",
        "1.2500 s, frame 60000",
        "pickup of one beat",
    )
    for part in said:
        assert part in lines
    assert "count-in of 2 bars" in lines
    assert "55.975 bpm (half) 3%" in lines


def test_says_how_far_a_rounded_click_would_be_off_by_the_end() -> None:
    # Derived: 240.1 s of music at 111.95 against 112 BPM is 240.1 * 0.05 / 112 = 107 ms.
    assert "a click at 112 would be 107 ms off by the end" in text(steady())
    assert "off by the end" not in text(steady(112.0))


def test_shows_the_map_of_music_that_moves() -> None:
    segments = tuple(MapSegment(bar, float(bar), 100.0 + bar, "4/4") for bar in range(1, 20))

    lines = text(SongMeasures(Tempo("map", 105.0), tempo_map=segments))

    assert "bar 1 at 0:01.0: 101.000 bpm, 4/4" in lines
    assert "and 7 more segments" in lines


def test_shows_the_odd_bars_of_steady_music() -> None:
    signs = ((1, "4/4"), (33, "2/4"), (34, "4/4"))
    segments = tuple(MapSegment(bar, 2.0 * (bar - 1), 120.0, sign) for bar, sign in signs)

    lines = text(SongMeasures(Tempo("constant", 120.0), tempo_map=segments))

    assert "bar 33 at 1:04: 120.000 bpm, 2/4" in lines
    assert "Map" not in text(SongMeasures(Tempo("constant", 120.0), tempo_map=segments[:1]))


def test_says_when_there_is_none() -> None:
    assert text(SongMeasures()) == "Tempo    none found"
    assert "the brief says 98 bpm" in text(SongMeasures(Tempo("none", 98.0, source="brief")))


def test_says_where_a_map_is_free() -> None:
    free = MapSegment(5, 8.0, 96.0, "4/4", free=True)
    segments = (MapSegment(1, 0.0, 120.0, "4/4"), free, MapSegment(9, 18.0, 100.0, "3/4"))
    lines = text(SongMeasures(Tempo("map", 110.0), tempo_map=segments))

    assert "bar 5 at 0:08.0: free, counted in 4/4" in lines
    assert "bar 9 at 0:18: 100.000 bpm, 3/4" in lines
    assert "96" not in lines


def test_compound_time_names_the_note_that_the_tempo_counts() -> None:
    """6/8 is felt in dotted quarters, 3/4 in quarters (common practice)."""
    tempo = Tempo("constant", 70.0, confidence=0.9, alternatives=(Alternative(105.0, 0.2, meter="3/4"),))

    lines = text(SongMeasures(tempo, meter=Meter(6, 8, 0.9)))

    assert "70 bpm (dotted quarter): constant" in lines
    assert "or 105 bpm 20%" in lines

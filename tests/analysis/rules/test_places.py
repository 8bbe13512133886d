from analysis.core.reports import MapSegment, Place, SongMeasures
from analysis.findings.catalogue import make_finding
from analysis.rules.places import with_bars

# 120 BPM in 4/4 from 0.5 s: a bar is 2 s, bar 9 begins at 16.5 s.
SONG = SongMeasures(tempo_map=(MapSegment(1, 0.5, 120.0, "4/4"),))
CLIPPED = {"places": 1, "runs": 30, "level_dbfs": 0.0, "longest_frames": 12}


def test_a_time_becomes_a_bar_and_a_beat() -> None:
    finding = make_finding("clipped", file="Bass.wav", place=Place(time_s=17.0), value=CLIPPED)
    (placed,) = with_bars([finding], SONG)

    assert (placed.place.bar, placed.place.beat, placed.place.time_s) == (9, 2.0, 17.0)
    assert "at bar 9 beat 2 (0:17)" in placed.message


def test_before_bar_one_the_time_says_it() -> None:
    finding = make_finding("clipped", place=Place(time_s=0.0), value=CLIPPED)

    assert with_bars([finding], SONG) == (finding,)


def test_what_has_no_time_or_a_bar_already_stays() -> None:
    findings = (make_finding("no-click"), make_finding("clipped", place=Place(time_s=17.0, bar=3), value=CLIPPED))

    assert with_bars(findings, SONG) == findings


def test_without_a_grid_times_stay_times() -> None:
    findings = (make_finding("clipped", place=Place(time_s=17.0), value=CLIPPED),)

    assert with_bars(findings, SongMeasures()) == findings


def test_in_a_free_passage_there_is_a_bar_and_no_beat() -> None:
    """Bars 3 and 4 are free from 4.5 s to 14.5 s, 5 s each: 10 s lies in bar 4."""
    free = MapSegment(3, 4.5, 48.0, "4/4", free=True)
    song = SongMeasures(tempo_map=(*SONG.tempo_map, free, MapSegment(5, 14.5, 120.0, "4/4")))
    finding = make_finding("clipped", file="Bass.wav", place=Place(time_s=10.0), value=CLIPPED)
    (placed,) = with_bars([finding], song)

    assert (placed.place.bar, placed.place.beat) == (4, None)
    assert "at bar 4 (0:10)" in placed.message

"""The bars of a chart where measuring was in doubt: songs of the project's band, read at another level on purpose."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analysis.band.render import mix_stems, render_stems
from analysis.band.score import steady, write_score
from analysis.bars.measures import with_music
from analysis.bars.statements import Statements
from analysis.core.reports import Alternative, MapSegment, SongMeasures
from analysis.core.samples import Doubles
from analysis.features.feature_arrays import Features
from analysis.form.bar_clock import BarClock
from analysis.maps.tempo_map import MeterSign
from analysis.measuring import bars_by_form
from analysis.measuring.bars_by_form import drafted_bars, with_short_bars
from analysis.tempo.evidence import Evidence, pool
from tests.analysis.playing import song_file

RATE_HZ, BPM = 44_100, 96
# Every section has an odd number of bars.
FORM = (("verse", 7), ("chorus", 5), ("verse", 7), ("chorus", 5))


@pytest.fixture(scope="module")
def heard() -> tuple[Evidence, list[Features]]:
    score = write_score(steady("odd sections", 5, BPM, feel="straight", form=FORM))
    files = [song_file(mix_stems(render_stems(score, RATE_HZ)), rate_hz=RATE_HZ).features]
    music = pool(files)
    assert music is not None
    return music, files


@pytest.fixture(scope="module")
def right(heard: tuple[Evidence, list[Features]]) -> SongMeasures:
    return with_music(heard[0], Statements(), RATE_HZ)


def in_doubt(song: SongMeasures, *, level: int, doubt: float) -> SongMeasures:
    """The song as if it had been read at so many times its tempo, and its true tempo or the double were so likely."""
    lines = np.array(song.downbeats_s)
    bars = np.arange(0, len(lines) - 1 + 1e-9, 1 / level)
    other = Alternative(float(BPM if level == 2 else 2 * BPM), doubt, "4/4", song.bar_one.time_s)
    return replace(
        song,
        tempo=replace(song.tempo, bpm=float(level * BPM), alternatives=(other,)),
        tempo_map=(MapSegment(1, float(lines[0]), float(level * BPM), "4/4"),),
        meter=replace(song.meter, confidence=1 - doubt),
        bar_one=replace(song.bar_one, confidence=1 - doubt),
        downbeats_s=tuple(np.interp(bars, np.arange(len(lines)), lines).tolist()),
    )


@pytest.mark.parametrize(
    ("level", "doubt", "bar_beats"),
    [
        (2, 0.4, 4),  # read in half bars, and in doubt: the true ones
        (2, 0.02, 2),  # what measuring is sure of stays
        (1, 0.4, 4),  # right bars stay in spite of doubt
    ],
)
def test_the_form_decides_where_measuring_is_in_doubt(
    heard: tuple[Evidence, list[Features]], right: SongMeasures, level: int, doubt: float, bar_beats: int
) -> None:
    clock = drafted_bars(*heard, in_doubt(right, level=level, doubt=doubt))

    assert clock is not None
    assert float(np.median(np.diff(clock.downbeats_s))) == pytest.approx(bar_beats * 60 / BPM, abs=0.01)


@pytest.mark.parametrize(("log_odds", "stays"), [(2.0, True), (4.0, False)])
def test_another_reading_has_to_be_clearly_likelier(
    heard: tuple[Evidence, list[Features]],
    right: SongMeasures,
    log_odds: float,
    *,
    stays: bool,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    measured = in_doubt(right, level=1, doubt=0.4)
    own = drafted_bars(*heard, measured, is_meter_given=True)

    class OneOther:
        """The first of several readings is likelier than the measured one, which is the last, by so much."""

        def log_odds(self, rows: Doubles) -> Doubles:
            scores = np.where(np.arange(len(rows)) == len(rows) - 1, 0.0, -50.0)
            scores[0] = log_odds if len(rows) > 1 else 0.0
            return scores

    monkeypatch.setattr(bars_by_form, "_model", OneOther)
    found = drafted_bars(*heard, measured)

    assert own is not None
    assert found is not None
    assert np.array_equal(found.downbeats_s, own.downbeats_s) == stays


def test_a_song_without_bars_has_none(heard: tuple[Evidence, list[Features]]) -> None:
    assert drafted_bars(*heard, SongMeasures()) is None


def test_three_eighths_that_measuring_joined_to_a_bar_are_one_of_their_own() -> None:
    six, nine = MeterSign(6, 8), MeterSign(9, 8)
    clock = BarClock(np.array([0.0, 2.0, 5.0, 7.0]), (six, nine, six), np.zeros(3, np.bool_))

    found = with_short_bars(clock)

    assert list(map(str, found.signs)) == ["6/8", "6/8", "3/8", "6/8"]
    assert found.downbeats_s.tolist() == [0, 2, 4, 5, 7]
    assert len(found.free) == 4


def test_a_song_in_nine_eight_stays_in_it() -> None:
    clock = BarClock.even(np.arange(5, dtype=np.float64) * 3, MeterSign(9, 8))

    assert with_short_bars(clock) is clock

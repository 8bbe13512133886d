"""Drums moved by whole beats and bars against music without drums; the distances are arithmetic."""

from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest

from analysis.delivery.check_results import Check, still_open
from analysis.delivery.fits_originals import whole_bars
from analysis.delivery.measured_set import Song
from analysis.maps.tempo_map import TempoMap
from tests.analysis.delivery.asked import ask
from tests.analysis.encoded import write_sound

RATE_HZ, BPM, BEATS = 48_000, 120, 32
BEAT_FRAMES = RATE_HZ * 60 // BPM
TEMPO_MAP = TempoMap.constant(BPM, "4/4", 1.0)


def struck(beats: Iterable[float], hz: float, ring_s: float, late_beats: float = 0.0) -> np.ndarray:
    """A decaying tone on each of these beats of the map."""
    time = np.arange(RATE_HZ // 2) / RATE_HZ
    sound = 0.5 * np.sin(2 * np.pi * hz * time) * np.exp(-time / ring_s)
    out = np.random.default_rng(3).standard_normal((BEATS + 12) * BEAT_FRAMES) * 1e-5
    for beat in beats:
        at = RATE_HZ + round((beat + late_beats) * BEAT_FRAMES)
        out[at : at + len(sound)] += sound
    return out[:, None]


def asked(folder: Path, drums: np.ndarray, *, music: bool = True, zero_s: float = 0.0) -> Check:
    # Played 12 ms early and late in turn, and not on each beat: even pulses would be a click.
    played = [beat + 0.024 * (-1) ** beat for beat in range(BEATS + 1) if beat % 7 not in (2, 5)]
    original = write_sound(folder / "music.wav", struck(played, 330, 0.2), RATE_HZ)
    song = Song(TEMPO_MAP, originals=(original,) if music else (), zero_s=zero_s)
    (check,) = ask(whole_bars, folder, {"SnTop": drums}, song)
    return check


@pytest.mark.parametrize("late", [0, 1, 4, -1])
def test_drums_that_begin_and_end_beside_the_music(tmp_path: Path, late: int) -> None:
    check = asked(tmp_path, struck(range(BEATS + 1), 190, 0.04, late))

    assert (check.code, check.passed, check.value, check.undecided) == ("whole-bars", late == 0, late, False)


@pytest.mark.parametrize("beats", [range(8, BEATS + 1), range(BEATS - 3), range(4, BEATS - 3)])
def test_drums_that_come_in_later_or_stop_earlier_say_nothing(tmp_path: Path, beats: range) -> None:
    check = asked(tmp_path, struck(beats, 190, 0.04))

    assert check.undecided
    assert "Can't tell" in check.message


def test_without_music_nobody_can_tell(tmp_path: Path) -> None:
    assert asked(tmp_path, struck(range(BEATS + 1), 190, 0.04), music=False).undecided


def test_with_the_accepted_mix_or_without_a_map_it_is_not_asked(tmp_path: Path) -> None:
    drums = {"SnTop": struck(range(BEATS), 190, 0.04)}

    assert not ask(whole_bars, tmp_path, drums, Song(TEMPO_MAP, against=tmp_path / "rough.wav"))
    assert not ask(whole_bars, tmp_path, drums, Song())


def test_it_stays_open_until_the_music_s_drums_or_the_mix_decide() -> None:
    unclear = Check("whole-bars", None, passed=True, undecided=True)

    assert still_open([unclear]) == ("whole-bars",)
    for code in ("fits-originals", "lined-up"):
        assert still_open([unclear, Check(code, None, passed=True)]) == ()

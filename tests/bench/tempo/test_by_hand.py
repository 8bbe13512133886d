"""The check by hand must itself be right: on clicks whose tempo is known, and on a stated tempo a little off."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from bench.tempo.by_hand import check, even_tempo, onsets_of
from bench.tempo.scores import Reading

BPM, BEATS, START_S = 120.37, 160, 0.3


def beats_at(bpm: float) -> tuple[float, ...]:
    return tuple(float(START_S + number * 60 / bpm) for number in range(BEATS))


@pytest.fixture
def clicks(tmp_path: Path) -> Path:
    rng = np.random.default_rng(1)
    burst = 0.5 * rng.standard_normal(2_000) * np.exp(-np.arange(2_000) / 300)
    sound = np.zeros(int(44_100 * (beats_at(BPM)[-1] + 1)))
    for beat_s in beats_at(BPM):
        sound[round(beat_s * 44_100) : round(beat_s * 44_100) + 2_000] += burst
    soundfile.write(tmp_path / "clicks.wav", sound, 44_100)
    return tmp_path / "clicks.wav"


def test_finds_every_onset_and_the_even_tempo(clicks: Path) -> None:
    onsets = onsets_of(clicks)
    bpm, agreed = even_tempo(onsets, 120, 2)

    assert len(onsets.times_s) == BEATS
    assert np.abs(onsets.times_s - beats_at(BPM)).max() < 0.01
    assert bpm == pytest.approx(BPM, abs=0.005)
    assert agreed > 0.99


@pytest.mark.parametrize(("stated", "drift_ms"), [(BPM, 0), (120.42, 33)])
def test_says_how_far_the_stated_grid_wanders_off(
    clicks: Path, stated: float, drift_ms: float, capsys: pytest.CaptureFixture[str]
) -> None:
    # 159 beats at 120.37 last 79.3 s; 0.05 / 120.42 of that is 33 ms: the music comes later than the stated grid.
    check(clicks, Reading(bpm=stated, beats_s=beats_at(stated), kind="constant"))
    said = capsys.readouterr().out

    assert float(said.split("end to end")[1].split("ms")[0]) == pytest.approx(drift_ms, abs=2.5)


def test_without_a_stated_grid_there_is_nothing_to_check(clicks: Path, capsys: pytest.CaptureFixture[str]) -> None:
    check(clicks, Reading(bpm=None, beats_s=()))

    assert "no grid to check; 160 onsets" in capsys.readouterr().out

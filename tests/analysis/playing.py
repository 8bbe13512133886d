"""A very small band of plucked tones, for tests of tempo and bars: what is played when is known to the sample."""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.core.reports import Brief, FileReport, SongReport
from analysis.features.feature_arrays import Features, MusicFeatures
from analysis.maps.tempo_map import TempoMap
from analysis.measuring.song import SongFile, measure_song

RATE_HZ = 48_000
Samples = NDArray[Any]
# Roots of a four-chord loop, in semitones from the lowest C.
LOOP = (0, 9, 5, 7)


@cache
def pluck(semitones: float, *, seconds: float = 0.5, level: float = 0.2) -> Samples:
    """A decaying tone with overtones and a short noisy attack. Semitones count from 65.4 Hz."""
    time = np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    hz = 65.406 * 2 ** (semitones / 12)
    tone = sum(np.sin(2 * np.pi * hz * order * time) / order for order in range(1, 7))
    attack = np.random.default_rng(int(semitones)).standard_normal(len(time)) * np.exp(-time / 0.004)
    return level * (np.asarray(tone) * np.exp(-time / 0.15) + 0.5 * attack)


def placed(notes: list[tuple[float, Samples]], seconds: float) -> Samples:
    samples = np.zeros(int(seconds * RATE_HZ))
    for start_s, sound in notes:
        frame = round(start_s * RATE_HZ)
        heard = sound[: max(0, len(samples) - frame)]
        samples[frame : frame + len(heard)] += heard
    return samples[:, None]


def band(beats_s: Samples, *, beats_per_bar: int = 4, seed: int = 1, scatter_s: float = 0.004) -> Samples:
    """Bass on downbeats and half bars, chords on every beat and its half, one chord a bar; scattered as people play."""
    rng = np.random.default_rng(seed)
    notes: list[tuple[float, Samples]] = []
    for index, start_s in enumerate(beats_s[:-1]):
        root = LOOP[index // beats_per_bar % len(LOOP)]
        half_s = (start_s + beats_s[index + 1]) / 2
        chord = [root + 24, root + 28, root + 31]
        if index % beats_per_bar in (0, 2):
            notes.append((start_s + rng.normal(0, scatter_s), pluck(root, seconds=0.9, level=0.3)))
        for at_s, level in ((start_s, 0.1), (half_s, 0.06)):
            notes += [(at_s + rng.normal(0, scatter_s), pluck(tone, level=level)) for tone in chord]
    return placed([(max(0.0, start), sound) for start, sound in notes], float(beats_s[-1]) + 1)


def features_of(samples: Samples, rate_hz: int = RATE_HZ) -> Features:
    music = MusicFeatures(rate_hz, samples.shape[1])
    for start in range(0, len(samples), 4 * rate_hz):
        music.add(samples[start : start + 4 * rate_hz])
    return music.finish()


def song_file(samples: Samples, name: str = "mix.wav", rate_hz: int = RATE_HZ) -> SongFile:
    report = FileReport(name=name, sha256=name, sample_rate_hz=rate_hz, frames=len(samples), channels=samples.shape[1])
    return SongFile(report, features_of(samples, rate_hz))


def measured(*files: SongFile, brief: Brief | None = None) -> SongReport:
    return measure_song(files, brief)


def codes(report: SongReport) -> set[str]:
    return {finding.code for finding in report.findings}


# Bars 1 to 4 of 4/4 at 120 (2 s each), 5 to 8 free for 10 s (16 counted beats: 96), from bar 9, at 18 s, 3/4 at 100
# (beats of 0.6 s, bars of 1.8 s).
FREE_MAP = TempoMap.from_json(
    {
        "segments": [
            {"bar": 1, "time_s": 0, "bpm": 120, "meter": "4/4"},
            {"bar": 5, "time_s": 8, "bpm": 96, "meter": "4/4", "free": True},
            {"bar": 9, "time_s": 18, "bpm": 100, "meter": "3/4"},
        ]
    }
)

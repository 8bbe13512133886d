"""A song's sound as arithmetic: strokes at known places of known bars, and a level that falls after each of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from analysis.core.samples import Doubles, Flags
from analysis.features.bands import BAND_COUNT, FRAMES_PER_SECOND
from analysis.features.feature_arrays import Features
from analysis.form.bar_clock import BarClock
from analysis.form.song_sound import SongSound
from analysis.maps.tempo_map import MeterSign

PLAYERS = 4
SILENT_DB = -100.0
# What each drum adds to each band's amplitude.
DRUMS = {
    "kick": {0: 1.0, 2: 0.2},
    "snare": {1: 0.6, 3: 0.8, 4: 0.8, 5: 0.8},
    "hat": {5: 0.2},
    "tom": {1: 0.9, 2: 0.9},
}


def clock_of(bars: int, *, bar_s: float = 2.0, meter: str = "4/4") -> BarClock:
    return BarClock.even(np.arange(bars + 1, dtype=np.float64) * bar_s, MeterSign.parse(meter))


def played(
    clock: BarClock,
    rhythms: Mapping[int, Mapping[int, Iterable[float]]],
    *,
    rests: Iterable[tuple[int, float]] = (),
    fall_db_per_s: float = 3.0,
    end_s: float | None = None,
) -> SongSound:
    """Strokes by bar (from 1) and player, at beats from 1; from each rest (bar, beat) on it is silent to the next one.

    The level is -10 dB at every stroke and falls from there.
    """
    frames = int((clock.downbeats_s[-1] + 1.0 if end_s is None else end_s) * FRAMES_PER_SECOND)
    struck = np.zeros((frames, PLAYERS))
    for bar, of_players in rhythms.items():
        for player, beats in of_players.items():
            at = np.rint(clock.times_s(bar - 1, np.array(list(beats))) * FRAMES_PER_SECOND).astype(int)
            struck[at[at < frames], player] = 1.0
    silent = {int(clock.times_s(bar - 1, np.array([beat]))[0] * FRAMES_PER_SECOND) for bar, beat in rests}
    return sound_of(struck, _level_db(np.asarray(struck.any(axis=1)), silent, fall_db_per_s))


def sound_of(struck: Doubles, level_db: Doubles) -> SongSound:
    power = np.repeat(10 ** (level_db / 10)[:, None], struck.shape[1], axis=1)
    bands = np.repeat(struck.mean(axis=1)[:, None], BAND_COUNT, axis=1)
    return SongSound(struck, power, bands, level_db, struck.max(axis=1), level_db)


def _level_db(strokes: Flags, silent: set[int], fall_db_per_s: float) -> Doubles:
    level, found = SILENT_DB, np.zeros(len(strokes))
    for frame, stroke in enumerate(strokes):
        level = -10.0 if stroke else max(level - fall_db_per_s / FRAMES_PER_SECOND, SILENT_DB)
        level = SILENT_DB if frame in silent else level
        found[frame] = level
    return found


def drum_features(clock: BarClock, strokes: Mapping[int, Mapping[str, Iterable[float]]]) -> Features:
    """A file of drums, by bar (from 1) and drum: each stroke jumps in its bands and is gone after 60 ms."""
    frames = int((clock.downbeats_s[-1] + 1.0) * FRAMES_PER_SECOND)
    amplitude = np.full((frames, BAND_COUNT), 1e-5)
    for bar, of_drums in strokes.items():
        for drum, beats in of_drums.items():
            for time_s in clock.times_s(bar - 1, np.array(list(beats))):
                start = round(time_s * FRAMES_PER_SECOND)
                for band, gain in DRUMS[drum].items():
                    part = amplitude[start : start + 6, band]
                    np.maximum(part, gain, out=part)
    level_db = (20 * np.log10(amplitude)).astype(np.float32)
    rise = np.maximum(np.diff(amplitude, axis=0, prepend=1e-5), 0).astype(np.float32)
    rate_hz = float(FRAMES_PER_SECOND)
    return Features(44_100, frames * 441, rate_hz, 20.0, 1000.0, onset_strength=rise, band_energy_db=level_db)

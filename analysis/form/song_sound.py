"""A song's files as frames of 10 ms on one time axis: when they are struck and how loud they are.

What a chart is drafted from besides the bars. Files are heard one by one where there are enough to be called players;
else the bands of the whole sound stand for them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.ndimage import maximum_filter1d

from analysis.core.samples import Doubles, Indices
from analysis.features.bands import FRAMES_PER_SECOND
from analysis.features.feature_arrays import Features
from analysis.tempo.evidence import STRENGTH_LEAD_S, resampled

# All numbers here are house choices.
# Fewer files than this are mixes: their bands are looked at instead.
FEWEST_PLAYERS = 3
_SILENT_POWER = 1e-12
# A peak stands out of its neighbours within this many frames; the strong ones of a player are those at this quantile
# of all that are not tiny.
_APART_FRAMES = 3
_STRONG_QUANTILE, _TINY = 0.9, 0.15
_MOST_RE_STRONG = 1.5


@dataclass(frozen=True)
class SongSound:
    """Float64 arrays of one length in frames; frame i is at i / FRAMES_PER_SECOND seconds.

    Attributes
    ----------
    struck : shape (n_frames, n_players)
        Peaks of onset strength, in shares of a strong one of that player; 0 between them.
    power : shape (n_frames, n_players)
        Mean square.
    bands : shape (n_frames, n_bands)
        Onset strength of all files, low band first.
    level_db : shape (n_frames,)
        All files together, re full scale.
    strength : shape (n_frames,)
        Onset strength of all files, in shares of a strong one of the song.
    air_db : shape (n_frames,)
        Level of the highest band of all files, where cymbals ring.
    """

    struck: Doubles
    power: Doubles
    bands: Doubles
    level_db: Doubles
    strength: Doubles
    air_db: Doubles

    @property
    def frames(self) -> int:
        return len(self.level_db)


def hear(files: Sequence[Features]) -> SongSound:
    """Lay the files on one axis.

    Parameters
    ----------
    files : sequence of Features
        The song's music, all from one common start; at least one.
    """
    duration_s = max(features.duration_s for features in files)
    times_s = np.arange(int(duration_s * FRAMES_PER_SECOND) + 1) / FRAMES_PER_SECOND
    strengths, powers = zip(*(_frames_of(features, times_s) for features in files), strict=True)
    bands, band_power = np.sum(strengths, axis=0), np.sum(powers, axis=0)
    if len(files) < FEWEST_PLAYERS:
        players, power = bands, band_power
    else:
        players = np.stack([rows.sum(axis=1) for rows in strengths], axis=1)
        power = np.stack([rows.sum(axis=1) for rows in powers], axis=1)
    whole = bands.sum(axis=1)
    return SongSound(
        struck=np.stack([_peaks_re_strong(column) for column in players.T], axis=1),
        power=power,
        bands=bands,
        level_db=10 * np.log10(band_power.sum(axis=1) + _SILENT_POWER),
        strength=whole / strong_peak(whole),
        air_db=10 * np.log10(band_power[:, -1] + _SILENT_POWER),
    )


def _frames_of(features: Features, times_s: Doubles) -> tuple[Doubles, Doubles]:
    strength = resampled(times_s, features.onset_strength, features.band_rate_hz, lead_s=STRENGTH_LEAD_S)
    level_db = resampled(times_s, features.band_energy_db, features.band_rate_hz, outside=-120.0)
    return strength, 10 ** (level_db / 10)


def _peaks_re_strong(strength: Doubles) -> Doubles:
    peaks = np.where(is_peak(strength), strength, 0.0)
    return np.minimum(peaks / strong_peak(strength), _MOST_RE_STRONG)


def is_peak(strength: Doubles) -> Indices:
    """Which frames are the highest within some to each side."""
    highest = maximum_filter1d(strength, 2 * _APART_FRAMES + 1, mode="constant")
    return np.asarray((strength >= highest) & (strength > 0))


def strong_peak(strength: Doubles) -> float:
    """What a strong stroke of this player reaches; 1 for a player who is never heard.

    Parameters
    ----------
    strength : float64 array, shape (n_frames,)
    """
    peaks = strength[is_peak(strength)]
    peaks = peaks[peaks > _TINY * peaks.max(initial=0.0)]
    return float(np.quantile(peaks, _STRONG_QUANTILE)) if len(peaks) else 1.0

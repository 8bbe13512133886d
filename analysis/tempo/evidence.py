"""What a song's files tell together: onsets, band strengths and harmony, pooled on one time axis.

The axis may be warped later (a song that drifts is measured on its own clock), so everything carries its times.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.core.samples import Doubles, Flags, Floats, Indices
from analysis.features.attacks import attacks_of
from analysis.features.bands import BAND_COUNT, FRAMES_PER_SECOND
from analysis.features.feature_arrays import Features
from analysis.features.harmony import FRAMES_PER_SECOND as HARMONY_PER_SECOND
from analysis.maps.residual import PooledAttacks

Warp = Callable[[Doubles], Doubles]
# Onset strength is seen before the sound's own start, because a frame looks half a window ahead: by about
# this much (house choice).
STRENGTH_LEAD_S = 0.010
# Sound counts from this far under the file's loud moments (house choice).
_SOUND_RE_LOUD_DB = -42.0


@dataclass(frozen=True)
class Evidence:
    """Pooled evidence of a song's files, times in seconds from the files' start.

    Attributes
    ----------
    onset_s, onset_weight, onset_sharpness : float64 arrays, shape (n_onsets,)
        Fine onsets in order of time: when, how heavy, how sharp.
    onset_is_bass : bool array, shape (n_onsets,)
    onset_file : integer array, shape (n_onsets,)
        Which of the pooled files the onset is from.
    frame_s : float64 array, shape (n_frames,)
        `FRAMES_PER_SECOND` of the bands while the clock is the files' own.
    strength, energy_db : float64 arrays, shape (n_frames, n_bands)
        Onset strength, and level in dB re full scale, low band first.
    harmony_s : float64 array, shape (n_harmony,)
    bass, chroma : float64 arrays, shape (n_harmony, 12)
        Pitch classes from C, of the bass and of the middle.
    first_sound_s, last_sound_s : float
    """

    onset_s: Doubles
    onset_weight: Doubles
    onset_is_bass: Flags
    onset_file: Indices
    onset_sharpness: Doubles
    frame_s: Doubles
    strength: Doubles
    energy_db: Doubles
    harmony_s: Doubles
    bass: Doubles
    chroma: Doubles
    first_sound_s: float
    last_sound_s: float

    def warped(self, warp: Warp) -> Evidence:
        """The same evidence on another clock.

        Parameters
        ----------
        warp : callable
            Takes and returns float64 arrays of seconds of one shape; rising, such as `Clock.to_even`.
        """
        ends = warp(np.array([self.first_sound_s, self.last_sound_s]))
        return replace(
            self,
            onset_s=warp(self.onset_s),
            frame_s=warp(self.frame_s),
            harmony_s=warp(self.harmony_s),
            first_sound_s=float(ends[0]),
            last_sound_s=float(ends[1]),
        )


def pool(files: Sequence[Features]) -> Evidence | None:
    """Add up the files' evidence on one time axis.

    Parameters
    ----------
    files : sequence of Features
        All from one common start.

    Returns
    -------
    Evidence or None
        None when nothing sounds, or nothing has an onset.
    """
    sounding = [(features, span) for features in files if (span := _sounding_span(features))]
    attacks = [attacks_of(features) for features, _ in sounding]
    if not sum(len(found.times_s) for found in attacks):
        return None
    frame_s, strength, energy_db = _frames([features for features, _ in sounding])
    harmony_s, bass, chroma = _harmony([features for features, _ in sounding])
    times = np.concatenate([found.times_s for found in attacks])
    order = np.argsort(times, kind="stable")
    return Evidence(
        onset_s=times[order],
        onset_weight=np.concatenate([found.weight for found in attacks])[order].astype(np.float64),
        onset_is_bass=np.concatenate([found.is_bass for found in attacks])[order],
        onset_file=np.repeat(np.arange(len(attacks)), [len(found.times_s) for found in attacks])[order],
        onset_sharpness=np.concatenate([found.sharpness for found in attacks])[order],
        frame_s=frame_s,
        strength=strength,
        energy_db=energy_db,
        harmony_s=harmony_s,
        bass=bass,
        chroma=chroma,
        first_sound_s=min(span[0] for _, span in sounding),
        last_sound_s=max(span[1] for _, span in sounding),
    )


def _frames(files: Sequence[Features]) -> tuple[Doubles, Doubles, Doubles]:
    """Times of the common frames, summed onset strength, and the level of the summed energy."""
    duration_s = max(features.duration_s for features in files)
    frame_s = np.arange(int(duration_s * FRAMES_PER_SECOND) + 1) / FRAMES_PER_SECOND
    strength, power = np.zeros((len(frame_s), BAND_COUNT)), np.zeros((len(frame_s), BAND_COUNT))
    for features in files:
        strength += resampled(frame_s, features.onset_strength, features.band_rate_hz, lead_s=STRENGTH_LEAD_S)
        power += 10 ** (resampled(frame_s, features.band_energy_db, features.band_rate_hz, outside=-120.0) / 10)
    return frame_s, strength, 10 * np.log10(power + 1e-12)


def _harmony(files: Sequence[Features]) -> tuple[Doubles, Doubles, Doubles]:
    """Times of the common frames, summed pitch classes of the bass and of the middle."""
    duration_s = max(features.duration_s for features in files)
    harmony_s = np.arange(int(duration_s * HARMONY_PER_SECOND) + 1) / HARMONY_PER_SECOND
    bass, chroma = np.zeros((len(harmony_s), 12)), np.zeros((len(harmony_s), 12))
    for features in files:
        bass += resampled(harmony_s, features.bass_chroma, features.harmony_rate_hz)
        chroma += resampled(harmony_s, features.chroma, features.harmony_rate_hz)
    return harmony_s, bass, chroma


def pooled_attacks(files: Sequence[Features]) -> PooledAttacks:
    """The attacks of a song's files together.

    Parameters
    ----------
    files : sequence of Features
        All from one common start.

    Returns
    -------
    PooledAttacks
        In order of time, seconds from that start; empty where nothing sounds.
    """
    music = pool(files)
    if music is None:
        return PooledAttacks(np.zeros(0), np.zeros(0))
    return PooledAttacks(np.asarray(music.onset_s, np.float64), np.asarray(music.onset_weight, np.float64))


def _sounding_span(features: Features) -> tuple[float, float] | None:
    """First and last time that stand out of the file's background; None for silence."""
    energy = features.energy_1ms
    if not len(energy) or not energy.max() > 1e-10:
        return None
    loud = float(np.quantile(energy[energy > 0], 0.95))
    above = np.flatnonzero(energy > loud * 10 ** (_SOUND_RE_LOUD_DB / 10))
    return float(above[0] / features.energy_rate_hz), float(above[-1] / features.energy_rate_hz)


def resampled(times_s: Doubles, rows: Floats, rate_hz: float, *, lead_s: float = 0.0, outside: float = 0.0) -> Doubles:
    """Rows at `times_s`: each is taken `lead_s` earlier than it stands, so that onsets fall on their own time."""
    if not len(rows):
        return np.full((len(times_s), rows.shape[1]), outside)
    own_s = np.arange(len(rows)) / rate_hz + lead_s
    columns = [np.interp(times_s, own_s, column, left=outside, right=outside) for column in rows.T]
    return np.stack(columns, axis=1)

"""Evidence made of onset times alone, without sound: what is known of the beats is known exactly."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.core.samples import Doubles
from analysis.features.bands import BAND_COUNT, FRAMES_PER_SECOND
from analysis.features.harmony import FRAMES_PER_SECOND as HARMONY_PER_SECOND
from analysis.tempo.evidence import Evidence

PULSE_S = 0.015


def onset_evidence(onset_s: Sequence[float] | Doubles, *, bass: Sequence[bool] | None = None) -> Evidence:
    """Onsets of equal weight at these times; each shows in the strength as a short bump, in the bass when it is one."""
    times = np.asarray(onset_s, np.float64)
    is_bass = np.zeros(len(times), bool) if bass is None else np.asarray(bass, bool)
    frame_s = np.arange(int((times[-1] + 1) * FRAMES_PER_SECOND)) / FRAMES_PER_SECOND
    harmony_s = np.arange(int((times[-1] + 1) * HARMONY_PER_SECOND)) / HARMONY_PER_SECOND
    strength = np.zeros((len(frame_s), BAND_COUNT))
    for time, low in zip(times, is_bass, strict=True):
        strength[:, 0 if low else 3] += np.exp(-0.5 * ((frame_s - time) / PULSE_S) ** 2)
    return Evidence(
        onset_s=times,
        onset_weight=np.ones(len(times)),
        onset_is_bass=is_bass,
        onset_file=np.zeros(len(times), np.intp),
        onset_sharpness=np.ones(len(times)),
        frame_s=frame_s,
        strength=strength,
        energy_db=10 * np.log10(strength + 1e-6),
        harmony_s=harmony_s,
        bass=np.ones((len(harmony_s), 12)),
        chroma=np.ones((len(harmony_s), 12)),
        first_sound_s=float(times[0]),
        last_sound_s=float(times[-1]),
    )


def even_beats(bpm: float, count: int, start_s: float = 0.5) -> Doubles:
    return start_s + np.arange(count, dtype=np.float64) * 60 / bpm


def scattered(beats_s: Doubles, scatter_s: float, seed: int = 3) -> Doubles:
    """The same beats, early and late as people play them."""
    return np.sort(beats_s + np.random.default_rng(seed).normal(0, scatter_s, len(beats_s)))

"""What the guide drums play, slot by slot: how far each band's amplitude jumps there and falls again.

Amplitudes, not onset strength: strength is compressed, and in it a kick's click looks like a snare. What stays as loud
as it has become is no drum: a bass note is told from the kick by that.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.core.samples import Doubles
from analysis.features.bands import BAND_COUNT, FRAMES_PER_SECOND
from analysis.features.feature_arrays import Features
from analysis.form.slots import Slots, over_frames
from analysis.tempo.evidence import resampled

# Frames of 10 ms, from the slot: where a stroke is at its loudest, what rang before, and after it until the next slot,
# but no longer than this and no shorter than that (house choices).
_LOUDEST, _BEFORE = range(7), range(-6, -2)
_AFTER, _LATEST, _EARLIEST = 8, 17, 10
# A drum dies away: where a sound falls by less than it rose over this, it counts for what it falls (house choice).
_FALL_WEIGHT = 1.5
_SILENT_DB = -120.0


def drum_jumps(grid: Slots, drums: Sequence[Features]) -> Doubles:
    """How far each band's amplitude jumps at each slot and falls again.

    Parameters
    ----------
    grid : Slots
    drums : sequence of Features
        The files that hold drums; at least one.

    Returns
    -------
    float64 array, shape (n_bars, n_slots, n_bands)
        Amplitudes, low band first; 0 past a bar's end.
    """
    frames = int(max(features.duration_s for features in drums) * FRAMES_PER_SECOND) + 1
    times_s, power = np.arange(frames) / FRAMES_PER_SECOND, np.zeros((frames, BAND_COUNT))
    for features in drums:
        level_db = resampled(times_s, features.band_energy_db, features.band_rate_hz, outside=_SILENT_DB)
        power += 10 ** (level_db / 10)
    amplitude = np.sqrt(power)
    loudest = over_frames(amplitude, grid.at_frame, _LOUDEST).max(axis=0)
    before = over_frames(amplitude, grid.at_frame, _BEFORE).mean(axis=0)
    until = min(max(grid.slot_frames, _EARLIEST), _LATEST)
    after = over_frames(amplitude, grid.at_frame, range(_AFTER, until)).min(axis=0)
    jumps = np.minimum(loudest - before, _FALL_WEIGHT * (loudest - after))
    return np.where(grid.inside[:, :, None], np.maximum(jumps, 0), 0.0)

"""Which moments a map holds playing to: all but those of its free passages."""

from __future__ import annotations

import numpy as np

from analysis.core.samples import Doubles, Flags
from analysis.maps.tempo_map import TempoMap


def in_time(times_s: Doubles, tempo_map: TempoMap) -> Flags:
    """`not TempoMap.is_free_at` of many moments at once.

    Parameters
    ----------
    times_s : float64 array, shape (n,)
        Seconds from the start of the files.
    tempo_map : TempoMap

    Returns
    -------
    bool array, shape (n,)
        True where the map keeps time.
    """
    starts_s = np.array([float(one.time_s) for one in tempo_map.segments])
    free = np.array([one.free for one in tempo_map.segments])
    own = np.maximum(np.searchsorted(starts_s, times_s, side="right") - 1, 0)
    return ~free[own]

"""Which moments a map holds playing to: all but those of its free passages."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.core.samples import Flags
from analysis.maps.tempo_map import TempoMap


def in_time(times_s: NDArray[Any], tempo_map: TempoMap) -> Flags:
    """`not TempoMap.is_free_at` of many moments at once."""
    starts_s = np.array([float(one.time_s) for one in tempo_map.segments])
    free = np.array([one.free for one in tempo_map.segments])
    own = np.maximum(np.searchsorted(starts_s, times_s, side="right") - 1, 0)
    return ~free[own]

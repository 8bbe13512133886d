"""Moments in and out of free passages: the same answer for many as for one."""

from __future__ import annotations

import numpy as np

from analysis.maps.free_passages import in_time
from analysis.maps.tempo_map import TempoMap
from tests.analysis.playing import FREE_MAP


def test_many_moments_get_the_answer_that_each_gets() -> None:
    """Free from 8 s to 18 s, the first moment included and the last not."""
    times_s = np.array([-3.0, 0.0, 7.999, 8.0, 12.5, 17.999, 18.0, 100.0])
    found = in_time(times_s, FREE_MAP)
    assert list(found) == [True, True, True, False, False, False, True, True]
    assert list(found) == [not FREE_MAP.is_free_at(float(time_s)) for time_s in times_s]


def test_without_free_passages_everything_is_in_time() -> None:
    assert in_time(np.array([-1.0, 5.0]), TempoMap.constant(120)).all()

"""Where a band comes in on a grid that is given."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.given_grid.bars_on_grid import BarsOnGrid, lay_out_on
from tests.analysis.onsets import onset_evidence

BEATS_S = 1.0 + 0.5 * np.arange(24, dtype=np.float64)
IN_FOUR = BarsOnGrid(downbeat=0, beats=4, sign="4/4", meter_confidence=1.0, bar_confidence=1.0)


def test_without_a_band_bar_one_is_the_first_downbeat() -> None:
    layout = lay_out_on(BEATS_S, BarsOnGrid(6, 4, "4/4", 1.0, 1.0), None)

    assert layout.bar_one_s == BEATS_S[2]
    assert (layout.pickup_beats, layout.count_in_beats) == (0.0, 0)
    assert list(layout.downbeats_s) == list(BEATS_S[2::4])


def test_what_ticks_before_the_band_is_the_count_in() -> None:
    layout = lay_out_on(BEATS_S, IN_FOUR, onset_evidence(BEATS_S[8:]))

    assert layout.bar_one_s == BEATS_S[8]
    assert (layout.pickup_beats, layout.count_in_beats) == (0.0, 8)


@pytest.mark.parametrize(("first_beat", "pickup"), [(6.5, 1.5), (7, 1.0), (7.9, 0.0)])
def test_notes_before_the_bar_line_are_a_pickup(first_beat: float, pickup: float) -> None:
    first_s = 1.0 + 0.5 * first_beat

    layout = lay_out_on(BEATS_S, IN_FOUR, onset_evidence(np.concatenate([[first_s], BEATS_S[8:]])))

    assert (layout.bar_one_s, layout.pickup_beats) == (BEATS_S[8], pickup)


def test_a_band_that_enters_after_a_rest_has_its_bar_one_before_it() -> None:
    # On the second beat of a bar: three beats before the next line are no pickup.
    layout = lay_out_on(BEATS_S, IN_FOUR, onset_evidence(BEATS_S[5:]))

    assert (layout.bar_one_s, layout.pickup_beats, layout.count_in_beats) == (BEATS_S[4], 0.0, 4)


def test_a_grid_without_a_downbeat_begins_on_its_first_beat() -> None:
    layout = lay_out_on(BEATS_S[:2], BarsOnGrid(3, 4, "4/4", 1.0, 1.0), None)

    assert (layout.bar_one_s, len(layout.downbeats_s)) == (1.0, 0)
